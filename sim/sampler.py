"""The sampler board: how the gap voltage reaches a 0-5 V pin, and what the board's converter makes of it.

Three front ends: `clamp` (a 3 V Zener behind a series resistor), `divider` (64 V to 4.5 V) and `biased` (a clamp with
the sensing feed added through a diode while the source contact is closed). With the source off the pin shows the
sensing feed, or nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp, inf, log1p
from typing import Final, Literal

from sim.settings import SamplerPlant

Segments = Sequence[tuple[float, float]]

ZENER_V: Final = 3.0  # the front end of electrics.md: 3 V Zener
KNEE_V: Final = 0.15  # chosen so that the clamp is linear below some 2.5 V and flat above 3.5 V, as a small Zener is
DIVIDER: Final = 4.5 / 64.0  # electrics.md: |U| scaled 64 V to 4.5 V
DIODE_V: Final = 0.6  # forward drop of a silicon diode: common practice, no source
# Shunt that loads the bias of the `biased` front end to 2.0 V over an open gap: well above metal (below 0.1 V) and well
# below the clamp's 3 V, so that a source that is away is seen in clean water too. Chosen so.
BIAS_SHUNT_OHM: Final = 1800.0
FEED_V: Final = 5.0  # electrics.md: sensing feed of 5 V
COUNTS: Final = 1024  # 10 bits, wires.md
INTERVAL_US: Final = 1000  # one sample a millisecond, wires.md
READINGS = tuple(range(COUNTS))  # one object for each reading, shared by all records
POOL: Final = 509  # length of the noise record: a prime, chosen so that it never falls into step with the ticks
OVERLAP: Final = 32  # chosen so that the readings of the longest tick (20 ms) are one slice of the record
# Gap voltages looked up at once. Chosen so that open, shorted and cut-off are, whatever else comes.
KEPT_LEVELS: Final = 64
# Records made so far are kept while no more than this: over water every reading has a level of its own, and a long job
# would keep thousands. Chosen.
KEPT_RECORDS: Final = 256
US_PER_S: Final = 1e6


def clamped_v(gap_v: float) -> float:
    """Pin voltage of a 3 V Zener clamp with a soft knee (V) for a gap voltage (V, >= 0)."""
    over = (gap_v - ZENER_V) / KNEE_V
    if over > 20.0:  # the knee is far behind: exp(-20) is below any converter step
        return ZENER_V
    if over < -10.0:  # and far ahead
        return gap_v
    return gap_v - KNEE_V * log1p(exp(over))


def divided_v(gap_v: float) -> float:
    """Pin voltage of the divider (V) for a gap voltage (V, >= 0)."""
    return gap_v * DIVIDER


class Sampler:
    """One analog channel at 1 kHz and 10 bits.

    Args:
        front_end: How the gap voltage reaches the pin.
        series_ohm: Resistor of the sensing feed (ohm).
        full_scale_v: Voltage of the highest reading (V).
        plant: Noise of the pin.
        normal: Draws from the standard normal distribution.
    """

    def __init__(
        self,
        front_end: Literal["clamp", "divider", "biased"],
        series_ohm: float,
        full_scale_v: float,
        plant: SamplerPlant,
        normal: Callable[[], float],
    ) -> None:
        self._divided = front_end == "divider"
        self._biased = front_end == "biased"
        self._series_ohm = series_ohm
        self._counts_per_mv = COUNTS / full_scale_v / 1000.0
        self._noise_counts = [plant.noise_mv * self._counts_per_mv * normal() for _ in range(POOL)]
        self._records: dict[int, list[int]] = {}
        self._levels: dict[float, list[int]] = {}
        self._next_us = INTERVAL_US
        self._at = 0

    def live(self, segments: Segments, contact: bool, leak_ohm: float) -> list[int]:
        """Readings with the source on the electrode.

        Args:
            segments: (end offset s, gap voltage V) of the time sampled, from its beginning to its end.
            contact: True when the last segment is metal contact or a bridge.
            leak_ohm: Resistance through the water (ohm).
        """
        readings: list[int] = []
        next_us, at, end_us = self._next_us, self._at, 0
        levels = self._levels
        for end_s, gap_v in segments:
            end_us = int(end_s * US_PER_S + 0.5)
            if end_us < next_us:
                continue  # this segment falls between two samples
            count = (end_us - next_us) // INTERVAL_US + 1
            next_us += count * INTERVAL_US
            record = levels.get(gap_v)
            if record is None:
                record = self._live_record(gap_v, contact and end_s == segments[-1][0], leak_ohm)
            readings += record[at : at + count] if count <= OVERLAP else _cut(record, at, count)
            at = (at + count) % POOL
        self._next_us, self._at = next_us - end_us, at
        return readings

    def sensing(self, ohm: float, dt_s: float) -> list[int]:
        """Readings with the sensing feed on the electrode and `ohm` between it and the grounded metal."""
        return self._hold(self.sensing_v(ohm), round(dt_s * US_PER_S))

    def dead(self, dt_s: float) -> list[int]:
        """Readings with neither source nor sensing on the electrode."""
        return self._hold(0.0, round(dt_s * US_PER_S))

    def sensing_v(self, ohm: float) -> float:
        """Pin voltage of the sensing feed (V) over a resistance (ohm, inf when open)."""
        return FEED_V if ohm == inf else FEED_V * ohm / (ohm + self._series_ohm)

    def _live_record(self, gap_v: float, contact: bool, leak_ohm: float) -> list[int]:
        """Readings at a gap voltage. Without bias they depend on it alone and the voltages that recur are kept."""
        if self._biased:
            return self._record(clamped_v(gap_v) if contact else self._biased_v(gap_v, leak_ohm))
        record = self._record(divided_v(gap_v) if self._divided else clamped_v(gap_v))
        if len(self._levels) < KEPT_LEVELS:
            self._levels[gap_v] = record
        return record

    def _biased_v(self, gap_v: float, leak_ohm: float) -> float:
        """The higher of clamped gap voltage and bias; shunt and leak load the bias."""
        load_ohm = BIAS_SHUNT_OHM if leak_ohm == inf else BIAS_SHUNT_OHM * leak_ohm / (BIAS_SHUNT_OHM + leak_ohm)
        bias_v = (FEED_V - DIODE_V) * load_ohm / (load_ohm + self._series_ohm)
        return max(clamped_v(gap_v), clamped_v(bias_v))

    def _hold(self, pin_v: float, for_us: int) -> list[int]:
        """Readings of a pin that holds one voltage for a time (us)."""
        count = (for_us - self._next_us + INTERVAL_US) // INTERVAL_US
        self._next_us += count * INTERVAL_US - for_us
        at = self._at
        self._at = (at + count) % POOL
        record = self._record(pin_v)
        return record[at : at + count] if count <= OVERLAP else _cut(record, at, count)

    def _record(self, pin_v: float) -> list[int]:
        """A record of noisy readings at one level, its beginning repeated at its end; levels a millivolt apart."""
        pin_mv = int(pin_v * 1000.0 + 0.5)
        record = self._records.get(pin_mv)
        if record is None:
            level = pin_mv * self._counts_per_mv
            once = [READINGS[min(max(int(level + noise), 0), COUNTS - 1)] for noise in self._noise_counts]
            if len(self._records) >= KEPT_RECORDS:
                self._records.clear()
            record = self._records[pin_mv] = once + once[:OVERLAP]
        return record


def _cut(record: list[int], at: int, count: int) -> list[int]:
    """More readings than the record repeats at its end."""
    return [record[(at + n) % POOL] for n in range(count)]
