"""Who the loop of a run works for: passes on what people ask, and hands everything that happens to the record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from controller.core.events import Event, Noticed
from controller.host.capture import look_bytes
from controller.host.front_desk import FrontDesk
from controller.host.outlet import Begin, Captured, Outlet
from controller.host.session import Look, Outcome, Session
from controller.host.stop_signals import StopSignals
from controller.host.typed import Typed

# From one picture of the core to the next (s): chosen so that progress looks alive.
PICTURE_S: Final = 0.2


class RunDesk(FrontDesk):
    """The desk of a run.

    Args:
        outlet: Where the record goes.
        begin: Makes the beginning of the record, called when the machine is connected.
        stop: Signals that ask to stop.
        typed: The terminal where somebody answers prompts; None when nobody can.
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
        captures: bool,
        remarks: Sequence[str] = (),
    ) -> None:
        super().__init__(outlet, stop, typed)
        self._begin = begin
        self._captures = captures
        self._begun = False
        self._early: list[object] = [Noticed(0.0, "loop", remark) for remark in remarks]
        self._picture_s = 0.0
        self.time_s = 0.0

    def take(self, session: Session, look: Look, outcome: Outcome) -> None:
        """Hand on what came of a look."""
        self.time_s = look.time_s
        if self._captures:
            self._put(Captured(look_bytes(look, outcome)))
        for event in outcome.events:
            self._put(event)
        if session.driving:
            self._go_on(session)

    def note(self, event: Event) -> None:
        """Add what happened beside the loop."""
        self._put(event)

    @property
    def begun(self) -> bool:
        """There is a run: the machine was connected and the record has begun."""
        return self._begun

    def _go_on(self, session: Session) -> None:
        if not self._begun:
            self._begun = True
            self._outlet.put(self._begin())
            for item in self._early:
                self._outlet.put(item)
            self._early.clear()
        if self.time_s - self._picture_s >= PICTURE_S:
            self._picture_s = self.time_s
            self._put(session.snapshot())
        self._outlet.flush()

    def _put(self, item: object) -> None:
        if self._begun:
            self._outlet.put(item)
        else:
            self._early.append(item)
