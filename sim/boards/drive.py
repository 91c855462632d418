"""What a motion board is wired to: motors, switches, a spindle. The plant stands behind it; a test may, too."""

from __future__ import annotations

from typing import Protocol

from sim.boards.planner import Steps


class Drive(Protocol):
    """Everything at the other end of a motion board's terminals."""

    def stand(self, steps: Steps) -> None:
        """Take the motors to these steps, counted since power-up."""

    def lock(self, on: bool) -> None:
        """Put the motors' current on or off; without it they let go."""

    def switches(self) -> tuple[bool, bool, bool]:
        """Whether the homing switch of x, y and z is closed."""

    def turn(self, rev_min: float) -> None:
        """Turn the spindle at this speed; 0 stops it."""

    def probe_closed(self) -> bool:
        """Whether the probe input sees contact."""


class NoDrive:
    """Bare motors on a table: they step, nothing is closed."""

    def __init__(self) -> None:
        self.steps: Steps = (0, 0, 0)
        self.locked = False
        self.rev_min = 0.0
        self.closed = (False, False, False)
        self.probe = False

    def stand(self, steps: Steps) -> None:
        """Remember where they are."""
        self.steps = steps

    def lock(self, on: bool) -> None:
        """Remember the current."""
        self.locked = on

    def switches(self) -> tuple[bool, bool, bool]:
        """The switches as they were set."""
        return self.closed

    def turn(self, rev_min: float) -> None:
        """Remember the speed."""
        self.rev_min = rev_min

    def probe_closed(self) -> bool:
        """The probe as it was set."""
        return self.probe
