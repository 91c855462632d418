"""Sparking out: once the full diameter has passed the far face, how much the hole would still widen.

The flank goes on sparking until the gap beside it is as wide as its reach, ever more seldom. The ignition hazard falls
steeply with the gap, so that the rate falls about as one over the time: rate = c / (t + t₀), with as many sparks in
every doubling of the time. What is left is then c · ln(rate / rate that is as good as none), and c and t₀ follow from
how far the rate has fallen between the first and the last third of the time. From memory, of relaxation with an
exponential barrier (Elovich's law); nothing of a plant is needed but that its hazard falls steeply.
"""

from __future__ import annotations

from math import inf, log, sqrt
from typing import Final

# Sparks are kept in bins of this. Chosen: a handful of ticks.
BIN_S: Final = 0.1
# Judged no sooner than this, what the way past the cone takes anyhow, or this for each micrometre that a spark widens:
# few large craters take longer to be missed. Chosen.
LEAST_S: Final = 0.6
LEAST_S_PER_UM: Final = 0.8
MOST_LEAST_S: Final = 6.0
# Where there were more than a few sparks, it takes this long at least to see how they fall off. Chosen.
FEW: Final = 5
FALL_S: Final = 3.0
# A rate as good as none: so much a second (µm of diameter) makes no difference in a time that would be waited for.
# Chosen.
NONE_UM_S: Final = 0.3
# Silence of this length is the end, whatever was before: the source must not stand live without removal for much longer
# (10 s, interfaces.md). Chosen.
SILENT_S: Final = 6.0
# What may be left, of the diameter. Chosen: a fifth of a usual tolerance of ± 50 µm.
LEFT_UM: Final = 10.0


class SparkOut:
    """Follows the sparks beside the full diameter in the far face.

    Args:
        widening_um: By how much a spark widens the hole's diameter there.

    Attributes:
        time_s: Time with the source on since it began.
    """

    __slots__ = ("_bins", "_in_bin_s", "_left_um", "_silent_s", "_widening_um", "time_s")

    def __init__(self, widening_um: float) -> None:
        self._widening_um = widening_um
        self._bins: list[int] = [0]
        self._in_bin_s = 0.0
        self._left_um = inf
        self._silent_s = 0.0
        self.time_s = 0.0

    @property
    def left_um(self) -> float:
        """How much wider the diameter would get, inf before that can be said."""
        return self._left_um

    @property
    def over(self) -> bool:
        """What is left does not matter."""
        return self._left_um <= LEFT_UM or self._silent_s >= SILENT_S

    def saw(self, sparks: int, dt_s: float) -> None:
        """Take in a tick with the source on."""
        self._bins[-1] += sparks
        self._silent_s = 0.0 if sparks else self._silent_s + dt_s
        self.time_s += dt_s
        self._in_bin_s += dt_s
        if self._in_bin_s < BIN_S:
            return
        self._in_bin_s = 0.0
        least_s = min(max(LEAST_S, LEAST_S_PER_UM * self._widening_um), MOST_LEAST_S)
        if self.time_s >= (least_s if sum(self._bins) < FEW else max(least_s, FALL_S)):
            self._left_um = self._widening_um * self._left()
        self._bins.append(0)

    def _left(self) -> float:
        """Sparks that are left, by the first and the last third of the time."""
        third = max(len(self._bins) // 3, 1)
        third_s = third * BIN_S
        first, last = sum(self._bins[:third]), sum(self._bins[-third:])
        rate_hz = last / third_s
        none_hz = NONE_UM_S / self._widening_um
        if rate_hz <= none_hz:
            return 0.0
        # Counts scatter by their root: a fall is believed only as far as it stands out of that by half as much again.
        fall = max(first - last - 1.5 * sqrt(first + last), 1.0) / max(first, 1)
        between_s = self.time_s - third_s
        # rate · (t + t₀) of the law, with t the time between the middles of the two thirds.
        whole = rate_hz * between_s / fall
        return whole * log(rate_hz / none_hz)
