"""Who the loop of a run works for: passes on what people ask, and hands everything that happens to the record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from controller.core.events import Event, Noticed
from controller.core.requests import Request
from controller.host.capture import look_bytes
from controller.host.front_desk import FrontDesk
from controller.host.line import Line
from controller.host.outlet import Begin, Captured, Outlet
from controller.host.session import Look, Outcome, Session
from controller.host.stop_signals import StopSignals
from controller.host.typed import Typed
from controller.record.journal import StopRecord

# From one picture of the core to the next (s): ten a second, as the bus tells them.
PICTURE_S: Final = 0.1
UNWATCHED: Final = "the run can't be watched or asked anything any more; it goes on"


class RunDesk(FrontDesk):
    """The desk of a run.

    Args:
        outlet: Where the record goes.
        begin: Makes the beginning of the record, called when the machine is connected.
        stop: Signals that ask to stop.
        typed: The terminal where somebody answers prompts; None when nobody does.
        herald: The line to those who watch and ask; None when nobody can. How things stand goes there straight; what
            happened is told by whoever keeps the record, once it is on the disk.
        attended: Somebody answers prompts there; else, and without `typed`, the run ends at the first.
        captures: Every byte is to be recorded.
        remarks: What is to be noticed at the beginning of the record.
    """

    def __init__(
        self,
        outlet: Outlet,
        begin: Callable[[], Begin],
        stop: StopSignals,
        typed: Typed | None,
        *,
        herald: Line | None = None,
        attended: bool = False,
        captures: bool,
        remarks: Sequence[str] = (),
    ) -> None:
        super().__init__(outlet, stop, typed, attended=attended)
        self._begin = begin
        self._herald = herald
        self._unwatched = False
        self._captures = captures
        self._begun = False
        self._early: list[object] = [Noticed(0.0, "loop", remark) for remark in remarks]
        self._picture_s = 0.0
        self.time_s = 0.0

    def requests(self, session: Session, now_s: float) -> Sequence[Request]:
        """What is asked of the core in this tick, by those who watch as well."""
        asked = self._herald.inlet.requests() if self._herald is not None and self.heeds(session) else []
        return [*super().requests(session, now_s), *asked]

    def take(self, session: Session, look: Look, outcome: Outcome) -> None:
        """Hand on what came of a look."""
        self.time_s = session.before_s + look.time_s
        if self._captures:
            self._put(Captured(look_bytes(look, outcome)))
        for event in outcome.events:
            self._put(event)
        if session.driving:
            self._go_on(session)

    def note(self, event: Event) -> None:
        """Add what happened beside the loop."""
        self._put(event)

    def stop(self, record: StopRecord) -> None:
        """Add how the run ended: the last item."""
        self._put(record)

    @property
    def begun(self) -> bool:
        """There is a run: the machine was connected and the record has begun."""
        return self._begun

    def _go_on(self, session: Session) -> None:
        if not self._begun:
            self._begun = True
            early, self._early = self._early, []
            for item in (self._begin(), *early):
                self._put(item)
        if self.time_s - self._picture_s >= PICTURE_S:
            self._picture_s = self.time_s
            self._show(session)
            self._outlet.listen()
        self._outlet.flush()
        if self._herald is not None:
            self._herald.outlet.flush()
            if self._herald.outlet.broken and not self._unwatched:
                self._unwatched = True
                self._outlet.put(Noticed(self.time_s, "loop", UNWATCHED))

    def _put(self, item: object) -> None:
        if not self._begun:
            self._early.append(item)
            return
        self._outlet.put(item)

    def _show(self, session: Session) -> None:
        picture = session.snapshot()
        self._outlet.put(picture)
        if self._herald is not None and not self._herald.outlet.broken:
            self._herald.outlet.put(picture)
