"""What the virtual machine really did, looked at a thousand times a second from behind its boards.

Everything here is by the truth of the plant and by the steps and bytes at the virtual boards: the host is not asked.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

from controller.settings.units import UM_PER_MM
from sim.wired import PIECE_S, WiredMachine

# How far the tip must have come away from where it shorted: the task's own figure.
AWAY_UM = 5.0
# A short met while the axis still went up, or had just done so, is met by an answer to an earlier one. Chosen: longer
# than a small retreat takes.
RISING_S = 0.1


@dataclass(slots=True)
class Short:
    """One true short with the source live and the axis not on its way up.

    Attributes:
        began_s: When it began, machine time.
        told_s: When the first byte of a line that leads up reached the board's port; inf when none did.
        reversed_s: When the board made the first step up.
        away_s: When the tip stood `AWAY_UM` above where the short began.
        ended_s: When it was over.
    """

    began_s: float
    told_s: float = inf
    reversed_s: float = inf
    away_s: float = inf
    ended_s: float = inf


class ShortWatch:
    """Collects shorts and what became of them, from one look to the next."""

    def __init__(self, machine: WiredMachine) -> None:
        self._machine = machine
        self._before = 0
        self._rose_s = -inf
        self._was_shorted = False
        self._begun_um = 0.0
        self._open: Short | None = None
        self._told_s = -inf
        self.shorts: list[Short] = []

    def heard(self, wire: bytes, now_s: float) -> None:
        """Bytes for the board have reached its port. A line leads up when its feed axis word has no minus."""
        if b"Z" in wire and b"Z-" not in wire:
            self._told_s = now_s

    def look(self, now_s: float) -> None:
        """A millisecond has passed."""
        truth = self._machine.plant.truth
        steps = self._machine.motion.planner.steps[2]
        up = steps > self._before
        self._before = steps
        shorted = truth.live and (truth.erosion.in_contact or truth.erosion.bridged)
        if shorted and not self._was_shorted and self._open is None and now_s - self._rose_s > RISING_S:
            self._open = Short(now_s)
            self._begun_um = truth.face_mm[2] * UM_PER_MM
            self.shorts.append(self._open)
        self._was_shorted = shorted
        if up:
            self._rose_s = now_s
        if self._open is not None:
            self._follow(self._open, now_s, up=up, shorted=shorted)

    def _follow(self, short: Short, now_s: float, *, up: bool, shorted: bool) -> None:
        if short.told_s == inf and self._told_s >= short.began_s:
            short.told_s = self._told_s
        if up and short.reversed_s == inf:
            short.reversed_s = now_s
        if short.away_s == inf and self._machine.plant.truth.face_mm[2] * UM_PER_MM >= self._begun_um + AWAY_UM:
            short.away_s = now_s
        if not shorted and short.ended_s == inf:
            short.ended_s = now_s
        if short.away_s < inf or (short.ended_s < inf and short.reversed_s == inf):
            # Over by itself before anything answered it, or answered and away.
            self._open = None


class Watched(WiredMachine):
    """A virtual machine that is looked at after every millisecond of its life.

    Attributes:
        eyes: What looks, told the machine time.
    """

    def __init__(self, *arguments: object, **named: object) -> None:
        super().__init__(*arguments, **named)  # type: ignore[arg-type]  # passed on as they came
        self.eyes: list[Callable[[float], None]] = []

    def advance(self, to_s: float) -> tuple[bytes, bytes]:
        """Let time pass up to `to_s`, a millisecond at a time."""
        motion, sampler = bytearray(), bytearray()
        while self.now_s < to_s:
            one, other = super().advance(min(self.now_s + PIECE_S, to_s))
            motion += one
            sampler += other
            for eye in self.eyes:
                eye(self.now_s)
        return bytes(motion), bytes(sampler)
