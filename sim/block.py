"""One straight move as a motion board carries it out: whole steps along a trapezoid of speed."""

from __future__ import annotations

from math import sqrt

Steps = tuple[int, int, int]


class Block:
    """A move from `start` by `delta` steps, beginning at `start_s`, from standstill to standstill.

    A board steps at once when a block begins, so step k is done when the way covered passes k - 1 steps.

    Args:
        start: Motor steps at the beginning, per axis.
        delta: Steps to go, per axis (not all zero).
        length_um: Length of the straight line (um, > 0).
        speed_um_s: Top speed along the line (um/s, > 0).
        acceleration_um_s2: Acceleration along the line (um/s², > 0).
        start_s: Machine time at which it begins (s).
    """

    __slots__ = (
        "_acceleration_um_s2",
        "_cruise_s",
        "_length_um",
        "_peak_um_s",
        "_rise_s",
        "delta",
        "end_s",
        "final",
        "start",
        "start_s",
    )

    def __init__(
        self,
        start: Steps,
        delta: Steps,
        length_um: float,
        speed_um_s: float,
        acceleration_um_s2: float,
        start_s: float,
    ) -> None:
        self.start = start
        self.delta = delta
        self.final: Steps = (start[0] + delta[0], start[1] + delta[1], start[2] + delta[2])
        self._length_um = length_um
        self._acceleration_um_s2 = acceleration_um_s2
        self._peak_um_s = min(speed_um_s, sqrt(length_um * acceleration_um_s2))
        self._rise_s = self._peak_um_s / acceleration_um_s2
        self._cruise_s = length_um / self._peak_um_s - self._rise_s
        self.start_s = start_s
        self.end_s = start_s + 2.0 * self._rise_s + self._cruise_s

    def shift(self, start_s: float) -> None:
        """Begin at `start_s` instead."""
        self.end_s += start_s - self.start_s
        self.start_s = start_s

    def way_um(self, at_s: float) -> float:
        """Way covered at a machine time within the block (um)."""
        since_s = at_s - self.start_s
        if since_s < self._rise_s:
            return 0.5 * self._acceleration_um_s2 * since_s * since_s
        if since_s < self._rise_s + self._cruise_s:
            return self._peak_um_s * (since_s - 0.5 * self._rise_s)
        left_s = max(0.0, self.end_s - at_s)
        return self._length_um - 0.5 * self._acceleration_um_s2 * left_s * left_s

    def speed_um_s(self, at_s: float) -> float:
        """Speed along the line at a machine time within the block (um/s)."""
        since_s = at_s - self.start_s
        if since_s < self._rise_s:
            return self._acceleration_um_s2 * since_s
        if since_s < self._rise_s + self._cruise_s:
            return self._peak_um_s
        return self._acceleration_um_s2 * max(0.0, self.end_s - at_s)

    def at(self, at_s: float) -> Steps:
        """Motor steps done at a machine time (s): `start` before the block, `final` after it."""
        if at_s >= self.end_s:
            return self.final
        if at_s < self.start_s:
            return self.start
        share = self.way_um(at_s) / self._length_um
        x, y, z = self.start
        dx, dy, dz = self.delta
        return x + _begun(dx, share), y + _begun(dy, share), z + _begun(dz, share)

    def cut(self, at_s: float) -> Block | None:
        """End the block at `at_s`, return the block that brakes to standstill from there (None: already standing)."""
        speed_um_s = self.speed_um_s(at_s)
        braking_um = 0.5 * speed_um_s * speed_um_s / self._acceleration_um_s2
        share = min(1.0, (self.way_um(at_s) + braking_um) / self._length_um)
        here = self.at(at_s)
        x, y, z = (s + _begun(d, share) - h for s, d, h in zip(self.start, self.delta, here, strict=True))
        self.final, self.end_s = here, at_s
        if not (x or y or z):
            return None
        brake = Block(here, (x, y, z), braking_um, speed_um_s, self._acceleration_um_s2, at_s)
        brake._fall_only(speed_um_s)
        return brake

    def _fall_only(self, speed_um_s: float) -> None:
        """Make the trapezoid its falling flank alone."""
        self._peak_um_s = speed_um_s
        self._rise_s = self._cruise_s = 0.0
        self.end_s = self.start_s + speed_um_s / self._acceleration_um_s2


def _begun(delta: int, share: float) -> int:
    """Steps done of `delta` when `share` (0..1) of the way is covered; the first step falls at the beginning."""
    if delta >= 0:
        return min(delta, int(delta * share) + 1) if delta else 0
    return -min(-delta, int(-delta * share) + 1)
