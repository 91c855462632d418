"""Who the loop of a run works for: passes on what people ask, and hands everything that happens to the record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from controller.core.events import Event, Noticed
from controller.core.requests import HoldRequest, Request
from controller.host.capture import look_bytes
from controller.host.line import Line
from controller.host.outlet import Begin, Captured, Outlet
from controller.host.session import Look, Outcome, Session
from controller.host.stop_signals import StopSignals
from controller.host.typed import Typed, answer_of
from controller.record.journal import StopRecord

# From one picture of the core to the next (s): ten a second, as the bus tells them.
PICTURE_S: Final = 0.1
# How long an orderly end may take: a lift over the whole of the feed axis at 1 mm/s (common practice, no source).
STAND_DOWN_S: Final = 90.0
INTERRUPTED: Final = "interrupted by the user"
UNWATCHED: Final = "the run can't be watched or asked anything any more; it goes on"
NO_RECORD: Final = "the record of the run can't be written any more"


class RunDesk:
    """The desk of a run.

    Args:
        outlet: Where the record goes.
        begin: Makes the beginning of the record, called when the machine is connected.
        stop: Signals that ask to stop.
        typed: The terminal where somebody answers prompts; None when nobody does.
        herald: The line to those who watch and ask; None when nobody can.
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
        self._outlet, self._begin, self._stop, self._typed = outlet, begin, stop, typed
        self._herald = herald
        self._answered = attended or typed is not None
        self._unwatched = False
        self._captures = captures
        self._begun = False
        self._early: list[object] = [Noticed(0.0, "loop", remark) for remark in remarks]
        self._end_asked_s: float | None = None
        self._picture_s = 0.0
        self.time_s = 0.0

    @property
    def interrupted(self) -> bool:
        """The user asked to stop, and that was passed on."""
        return self._stop.count > 0

    def requests(self, session: Session, now_s: float) -> Sequence[Request]:
        """What is asked of the core in this tick: an end, once; or answers that somebody typed."""
        if not session.driving or session.ended is not None or self._end_asked_s is not None:
            return ()
        why = self._why_end(session)
        if why:
            self._end_asked_s = now_s
            return (HoldRequest(why),)
        asked = self._herald.inlet.requests() if self._herald is not None else []
        return [*asked, *self._answers(session)]

    def take(self, session: Session, look: Look, outcome: Outcome) -> None:
        """Hand on what came of a look."""
        self.time_s = session.before_s + look.time_s
        if self._captures:
            self._put(Captured(look_bytes(look, outcome)))
        for event in outcome.events:
            self._put(event)
        if session.driving:
            self._go_on(session)

    def cut(self, session: Session, now_s: float) -> bool:
        """Stop at once: asked a second time, asked before anything moved, or an orderly end takes too long."""
        if not session.driving:
            return self._stop.count > 0
        overdue = self._end_asked_s is not None and session.ended is None and now_s - self._end_asked_s > STAND_DOWN_S
        return self._stop.count > 1 or overdue

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

    @property
    def trouble(self) -> str:
        """What is wrong with the disk of the record; empty while it takes everything."""
        return self._outlet.trouble

    def _why_end(self, session: Session) -> str:
        """Why the run is to end now; empty while it may go on."""
        if self._stop.count:
            return INTERRUPTED
        if self._outlet.trouble:
            return f"{self._outlet.trouble}: {NO_RECORD}"
        if self._outlet.broken:
            return NO_RECORD
        if session.waiting is not None and not self._answered:
            return f"the operator is needed: {session.waiting.what_happened}"
        return ""

    def _answers(self, session: Session) -> Sequence[Request]:
        if session.waiting is None or self._typed is None:
            return ()
        answers = []
        for line in self._typed.lines():
            answer = answer_of(line, session.waiting)
            if answer is not None:
                answers.append(answer)
            elif line.strip():
                self._put(f"{line.strip()!r} is no answer here; type one of: {', '.join(session.waiting.choices)}")
        return answers

    def _go_on(self, session: Session) -> None:
        if not self._begun:
            self._begun = True
            early, self._early = self._early, []
            for item in (self._begin(), *early):
                self._put(item)
        if self.time_s - self._picture_s >= PICTURE_S:
            self._picture_s = self.time_s
            self._put(session.snapshot())
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
        if self._herald is not None and not self._herald.outlet.broken and not isinstance(item, Captured):
            self._herald.outlet.put(item)
