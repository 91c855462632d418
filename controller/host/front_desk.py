"""What every desk of a loop does: passes on what people ask and answer, and decides when all is to be cut off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from controller.core.requests import HoldRequest, Request
from controller.host.outlet import Outlet
from controller.host.session import Session
from controller.host.stop_signals import StopSignals
from controller.host.typed import Typed, answer_of

# How long an orderly end may take: a lift over the whole of the feed axis at 1 mm/s (common practice, no source).
STAND_DOWN_S: Final = 90.0
INTERRUPTED: Final = "interrupted by the user"
NO_RECORD: Final = "the record of the run can't be written any more"


class FrontDesk:
    """The people's side of a desk.

    Args:
        outlet: Where everything goes that is told or recorded.
        stop: Signals that ask to stop.
        typed: The terminal where somebody answers prompts; None when nobody can.
        attended: Somebody answers elsewhere; without either, the first prompt ends it.
    """

    def __init__(self, outlet: Outlet, stop: StopSignals, typed: Typed | None, *, attended: bool = False) -> None:
        self._outlet, self._stop, self._typed = outlet, stop, typed
        self._answered = attended or typed is not None
        self._asked_s: float | None = None

    @property
    def interrupted(self) -> bool:
        """The user asked to stop, and that was passed on."""
        return self._stop.count > 0

    def requests(self, session: Session, now_s: float) -> Sequence[Request]:
        """What is asked of the core in this tick: an end, once; or answers that somebody typed."""
        if not self.heeds(session):
            return ()
        why = self._why_end(session)
        if why:
            self._asked_s = now_s
            return (HoldRequest(why),)
        return self._answers(session)

    def heeds(self, session: Session) -> bool:
        """Whether anything may be asked of the core any more."""
        return session.driving and session.ended is None and self._asked_s is None

    @property
    def trouble(self) -> str:
        """What is wrong with the disk of the record; empty while it takes everything."""
        return self._outlet.trouble

    def cut(self, session: Session, now_s: float) -> bool:
        """Stop at once: asked a second time, asked before anything moved, or an orderly end takes too long."""
        if not session.driving:
            return self._stop.count > 0
        overdue = self._asked_s is not None and session.ended is None and now_s - self._asked_s > STAND_DOWN_S
        return self._stop.count > 1 or overdue

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

    def _put(self, item: object) -> None:
        self._outlet.put(item)
