"""Speed along a straight line: rise, cruise, fall, between two speeds that need not be zero."""

from __future__ import annotations

from math import sqrt


class Ramp:
    """One stretch of a move.

    Args:
        length_mm: Length of the stretch (mm, > 0).
        entry_mm_s: Speed at its beginning (mm/s).
        nominal_mm_s: Speed not to be passed (mm/s, > 0).
        exit_mm_s: Speed wanted at its end (mm/s); where the stretch is too short for it, what can be reached.
        acceleration_mm_s2: Acceleration and deceleration (mm/s², > 0).
    """

    __slots__ = ("_acceleration_mm_s2", "_cruise_s", "_fall_s", "_peak_mm_s", "_rise_s", "entry_mm_s", "total_s")

    def __init__(
        self,
        length_mm: float,
        entry_mm_s: float,
        nominal_mm_s: float,
        exit_mm_s: float,
        acceleration_mm_s2: float,
    ) -> None:
        twice = 2.0 * acceleration_mm_s2
        can_be = twice * length_mm
        exit_mm_s = min(exit_mm_s, sqrt(entry_mm_s * entry_mm_s + can_be))
        exit_mm_s = max(exit_mm_s, sqrt(max(0.0, entry_mm_s * entry_mm_s - can_be)))
        highest = sqrt(0.5 * (can_be + entry_mm_s * entry_mm_s + exit_mm_s * exit_mm_s))
        peak = max(entry_mm_s, exit_mm_s, min(nominal_mm_s, highest))
        rising_mm = (peak * peak - entry_mm_s * entry_mm_s) / twice
        falling_mm = (peak * peak - exit_mm_s * exit_mm_s) / twice
        self.entry_mm_s = entry_mm_s
        self._acceleration_mm_s2 = acceleration_mm_s2
        self._peak_mm_s = peak
        self._rise_s = (peak - entry_mm_s) / acceleration_mm_s2
        self._fall_s = (peak - exit_mm_s) / acceleration_mm_s2
        self._cruise_s = max(0.0, length_mm - rising_mm - falling_mm) / peak
        self.total_s = self._rise_s + self._cruise_s + self._fall_s

    @classmethod
    def braking(cls, speed_mm_s: float, acceleration_mm_s2: float) -> Ramp:
        """From a speed (mm/s, > 0) down to standstill."""
        length_mm = speed_mm_s * speed_mm_s / (2.0 * acceleration_mm_s2)
        return cls(length_mm, speed_mm_s, speed_mm_s, 0.0, acceleration_mm_s2)

    def way_mm(self, at_s: float) -> float:
        """Way covered at a time since the beginning (mm)."""
        half = 0.5 * self._acceleration_mm_s2
        rise_s = min(at_s, self._rise_s)
        way_mm = self.entry_mm_s * rise_s + half * rise_s * rise_s
        way_mm += self._peak_mm_s * min(max(at_s - self._rise_s, 0.0), self._cruise_s)
        fall_s = min(max(at_s - self._rise_s - self._cruise_s, 0.0), self._fall_s)
        return way_mm + self._peak_mm_s * fall_s - half * fall_s * fall_s

    def speed_mm_s(self, at_s: float) -> float:
        """Speed at a time since the beginning (mm/s)."""
        if at_s <= self._rise_s:
            return self.entry_mm_s + self._acceleration_mm_s2 * at_s
        fall_s = max(0.0, at_s - self._rise_s - self._cruise_s)
        return max(0.0, self._peak_mm_s - self._acceleration_mm_s2 * fall_s)

    def time_s(self, way_mm: float) -> float:
        """When a way is covered (s since the beginning); at the end for a longer one."""
        twice = 2.0 * self._acceleration_mm_s2
        peak, entry = self._peak_mm_s, self.entry_mm_s
        rising_mm = (peak * peak - entry * entry) / twice
        if way_mm <= rising_mm:
            return (sqrt(entry * entry + twice * way_mm) - entry) / self._acceleration_mm_s2
        cruising_mm = peak * self._cruise_s
        beyond_mm = way_mm - rising_mm - cruising_mm
        if beyond_mm <= 0.0:
            return self._rise_s + (way_mm - rising_mm) / peak
        fall_s = (peak - sqrt(max(0.0, peak * peak - twice * beyond_mm))) / self._acceleration_mm_s2
        return min(self.total_s, self._rise_s + self._cruise_s + fall_s)
