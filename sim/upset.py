"""What is wrong on the wires of a rehearsal, where there are none: the observation is spoilt as they would spoil it."""

from __future__ import annotations

from controller.core.observation import BoardState, Observation


class Upset:
    """Spoils what the wires say.

    Attributes:
        gap_dead: The gap's pin reads nothing: its wire is broken or grounded.
        silent_from_s: No sample comes any more since then; inputs stay as they were last.
        board: What the motion board has become; None while it is well.
    """

    __slots__ = ("_last", "board", "gap_dead", "silent_from_s", "silent_until_s")

    def __init__(self) -> None:
        self.gap_dead = False
        self.board: BoardState | None = None
        self.silent_from_s: float | None = None
        self.silent_until_s = 0.0
        self._last: tuple[bool, bool, bool, bool, bool] | None = None

    def silence(self, from_s: float, until_s: float) -> None:
        """No samples from then until then."""
        self.silent_from_s, self.silent_until_s = from_s, until_s
        self._last = None

    def spoil(self, seen: Observation) -> Observation:
        """Change an observation as the wires would."""
        if self.gap_dead:
            seen.samples = [0] * len(seen.samples)
        if self.board is not None:
            seen.board, seen.homed = self.board, False
        if self.silent_from_s is not None:
            self._silence(seen, seen.time_s - self.silent_from_s)
        return seen

    def _silence(self, seen: Observation, since_s: float) -> None:
        if seen.time_s >= self.silent_until_s:
            self.silent_from_s = None
            return
        if self._last is None:
            self._last = seen.contact_open, seen.flow, seen.stop_pressed, seen.guard_closed, seen.level_ok
        seen.contact_open, seen.flow, seen.stop_pressed, seen.guard_closed, seen.level_ok = self._last
        seen.samples, seen.sampler_age_s = [], since_s
