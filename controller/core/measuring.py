"""When the electrode is measured: when going on without costs more than measuring does.

The less well the tip is known, the higher above the face every approach has to begin, and the longer it takes. What a
hole loses by that grows from hole to hole since the last measurement; measuring takes what the quickest took so far.
The mean loss of a hole, the measurement included, is least when one measures as soon as the next hole would lose more
than the holes since have lost on average (renewal theory's rule for replacing what wears out, Barlow & Proschan,
Mathematical Theory of Reliability, 1965, chapter 4: from memory). Nothing of it is tuned: both sides are in seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from typing import Final

from controller.core.permissions import APPROACH_SPEED_UM_S
from controller.settings.units import UM_PER_MM

# The approach begins so many standard uncertainties above where the face should be.
UNSURE_TIMES: Final = 2.0
# Known less well than this the tip is measured whatever it costs (mm): the way down, as far again past the face, has to
# be over before the source has stood live without removal for too long (10 s, interfaces.md). Chosen: three quarters.
UNSURE_MOST_MM: Final = 0.2
# What a measurement is taken to cost at the most, before one was made (s). Chosen.
FIRST_S: Final = 15.0
# Looked ahead no further than this for the next measurement: chosen, beyond it the figure says "not soon".
AHEAD_MOST: Final = 99


class Measuring:
    """Follows what not measuring has cost since the last measurement."""

    __slots__ = ("_cost_s", "_holes", "_lost_s")

    def __init__(self) -> None:
        self._cost_s = FIRST_S
        self._lost_s = 0.0
        self._holes = 0

    def measured(self, seconds: float) -> None:
        """The electrode was measured, which took so long."""
        # The first one of a run comes down the whole way at touch speed: no later one takes as long.
        self._cost_s, self._lost_s, self._holes = min(seconds, self._cost_s), 0.0, 0

    def begun(self, unsure_mm: float) -> None:
        """A hole is begun with the tip known so well (mm, standard uncertainty above the face)."""
        self._lost_s += _lost_s(unsure_mm)
        self._holes += 1

    def due(self, unsure_mm: float) -> bool:
        """True when a hole that is begun with the tip known so well costs more than measuring first."""
        if unsure_mm > UNSURE_MOST_MM:
            return True
        return self._holes > 0 and _lost_s(unsure_mm) * self._holes > self._cost_s + self._lost_s

    def holes_left(self, unsure_mm_after: Callable[[float], float]) -> int:
        """In how many holes it will be due, by how well the tip will be known after so many; 0 before the next."""
        ahead = copy(self)
        for holes in range(AHEAD_MOST):
            unsure_mm = unsure_mm_after(float(holes))
            if ahead.due(unsure_mm):
                return holes
            ahead.begun(unsure_mm)
        return AHEAD_MOST


def _lost_s(unsure_mm: float) -> float:
    return UNSURE_TIMES * unsure_mm * UM_PER_MM / APPROACH_SPEED_UM_S
