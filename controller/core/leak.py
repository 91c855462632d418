"""How conductive the water is, from how it leaks while a fresh, flat end comes down through it onto metal.

A flat end over a plate is a column of water: R = gap / (σ · area). The gap is known from where the metal was met. A
worn end stands in the film with a tip of unknown shape, some micrometres high against twenty of water, so nothing can
be said of the water with it: two decades would be the honest range. So this is done with a new rod, wherever it
touches something wet.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import pi
from statistics import quantiles
from typing import Final

from controller.core.window import METAL_V

FEED_V: Final = 5.0  # the sensing feed (electrics.md)
# Above this the water only half joins the two: the film's edge is no plane. Chosen.
WELL_WET_V: Final = 4.0
# Roughness and play beside the metal: readings nearer than this tell little. Chosen.
NEAREST_UM: Final = 3.0
LEAST_READINGS: Final = 6
# A spark-worn plate is rough and a touch is known to some micrometres of these gaps: either way. Chosen.
SLACK: Final = 1.4
# 1 µS/cm is 1e-10 siemens for each micrometre of length over a square micrometre of area (unit).
S_PER_UM_PER_US_CM: Final = 1e-10


def conductivity_us_cm(
    trace: Sequence[tuple[float, float]], metal_um: float, rod_um: float, bore_um: float, series_ohm: float
) -> tuple[float, float] | None:
    """Limits of the water's conductivity (µS/cm), or None when there was too little of it to tell.

    Args:
        trace: (axis height µm, pin volts) of a slow descent of a flat end, in order.
        metal_um: Axis height at which metal was met.
        rod_um: Diameter of the rod.
        bore_um: Of a tube's bore, else 0.
        series_ohm: Resistance of the sensing feed.
    """
    area_um2 = pi / 4.0 * (rod_um**2 - bore_um**2)
    found = [
        (z - metal_um) * (FEED_V - volts) / (series_ohm * volts * area_um2 * S_PER_UM_PER_US_CM)
        for z, volts in trace
        if METAL_V < volts < WELL_WET_V and z - metal_um > NEAREST_UM
    ]
    if len(found) < LEAST_READINGS:
        return None
    low, _, high = quantiles(found, n=4)
    return low / SLACK, high * SLACK
