"""Who the loop of a commissioning or of a single command works for: everything is told, and kept until the end."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from controller.core.events import Event
from controller.host.front_desk import FrontDesk
from controller.host.outlet import Outlet
from controller.host.session import Look, Outcome, Session
from controller.host.stop_signals import StopSignals
from controller.host.typed import Typed


class BenchDesk(FrontDesk):
    """The desk of a commissioning or of a single command.

    Args:
        outlet: Where it is told.
        stop: Signals that ask to stop.
        typed: The terminal where somebody answers prompts; None when nobody can.
        connected: What is to be told first, once the machine is connected.

    Attributes:
        events: Everything that happened.
        time_s: Of the last look.
    """

    def __init__(
        self,
        outlet: Outlet,
        stop: StopSignals,
        typed: Typed | None,
        connected: Callable[[Session, float], Sequence[Event]] = lambda _session, _now_s: (),
    ) -> None:
        super().__init__(outlet, stop, typed)
        self._connected = connected
        self._driven = False
        self.events: list[Event] = []
        self.time_s = 0.0

    def take(self, session: Session, look: Look, outcome: Outcome) -> None:
        """Tell and keep what came of a look."""
        self.time_s = look.time_s
        events = outcome.events
        if session.driving and not self._driven:
            self._driven = True
            events = [*self._connected(session, look.time_s), *events]
        self.events += events
        for event in events:
            self._put(event)
        self._outlet.flush()
