"""How long a straight move takes and how far it has got: speed up, cruise, slow down, from rest to rest."""

from __future__ import annotations

from math import inf, sqrt

from controller.link.grid import StepGrid, Steps, longest
from controller.settings.machine import Axes
from controller.settings.units import UM_PER_MM


class Profile:
    """A trapezoid of speed over time (a triangle when the way is too short for the speed).

    Attributes:
        length_um: The whole way.
        asked_um_s: The speed asked for, within what the axes can do.
        speed_um_s: The speed of the middle part: less on a way too short to get there.
        acceleration_um_s2: The acceleration of the first and the last part.
        duration_s: The whole time.
    """

    __slots__ = ("_ramp_s", "_ramp_um", "acceleration_um_s2", "asked_um_s", "duration_s", "length_um", "speed_um_s")

    def __init__(self, length_um: float, speed_um_s: float, acceleration_um_s2: float) -> None:
        self.length_um = length_um
        self.asked_um_s = speed_um_s
        self.speed_um_s = min(speed_um_s, sqrt(length_um * acceleration_um_s2))
        self.acceleration_um_s2 = acceleration_um_s2
        self._ramp_s = self.speed_um_s / acceleration_um_s2
        self._ramp_um = 0.5 * self.speed_um_s * self._ramp_s
        cruise_um = max(length_um - 2.0 * self._ramp_um, 0.0)
        self.duration_s = 2.0 * self._ramp_s + (cruise_um / self.speed_um_s if cruise_um else 0.0)

    def way_um(self, after_s: float) -> float:
        """How far it has got `after_s` after its start."""
        if after_s <= 0.0:
            return 0.0
        left_s = self.duration_s - after_s
        if left_s <= 0.0:
            return self.length_um
        if after_s < self._ramp_s:
            return 0.5 * self.acceleration_um_s2 * after_s * after_s
        if left_s < self._ramp_s:
            return self.length_um - 0.5 * self.acceleration_um_s2 * left_s * left_s
        return self._ramp_um + self.speed_um_s * (after_s - self._ramp_s)

    def time_s(self, way_um: float) -> float:
        """When it has got so far; the inverse of `way_um`."""
        if way_um <= 0.0:
            return 0.0
        left_um = self.length_um - way_um
        if left_um <= 0.0:
            return self.duration_s
        if way_um < self._ramp_um:
            return sqrt(2.0 * way_um / self.acceleration_um_s2)
        if left_um < self._ramp_um:
            return self.duration_s - sqrt(2.0 * left_um / self.acceleration_um_s2)
        return self._ramp_s + (way_um - self._ramp_um) / self.speed_um_s


def planned(grid: StepGrid, axes: Axes, delta: Steps, speed_um_s: float, slowest_steps_s: float) -> Profile:
    """The profile of a straight move: the tightest axis limits it, and no board steps slower than its slowest rate."""
    ways_um = grid.way_um(delta)
    length_um = sqrt(sum(way * way for way in ways_um))
    acceleration_um_s2 = inf
    speed_um_s = max(speed_um_s, slowest_steps_s * length_um / longest(delta))
    for axis, way_um in enumerate(ways_um):
        if way_um > 0.0:
            stretch = length_um / way_um * UM_PER_MM
            speed_um_s = min(speed_um_s, axes.top_speed_mm_s[axis] * stretch)
            acceleration_um_s2 = min(acceleration_um_s2, axes.acceleration_mm_s2[axis] * stretch)
    return Profile(length_um, speed_um_s, acceleration_um_s2)
