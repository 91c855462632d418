"""When a discharge strikes: a hazard for each area of gap, by the local gap, the voltage and the dirt.

At a constant hazard the delays are exponential (von Laue 1925, Zuber 1925); nothing here draws a delay by a formula,
the exponential comes out of the hazard. A law is a shape over gap / reach, 1 or more at no gap, 0 from the reach on.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp
from typing import Final

from sim.settings import Ignition as IgnitionPlant
from sim.settings import PlantSettings

# Steps of the shape's table over the reach. Chosen so that a step is finer than a motor step.
STEPS: Final = 512


def _exponential(steepness: float) -> Callable[[float], float]:
    return lambda x: exp(-steepness * x)


def _power(steepness: float) -> Callable[[float], float]:
    # Field over gap to a power (the field is U / gap), flattened below a tenth of the reach; scaled to 1 at half the
    # reach times what the exponential law has there, so that a change of law leaves the machine usable.
    return lambda x: exp(-0.5 * steepness) * (0.5 / max(x, 0.1)) ** (0.5 * steepness)


def _threshold(steepness: float) -> Callable[[float], float]:
    # Only the excess of the field over its threshold counts, so the hazard dies smoothly at the reach. The factor is
    # chosen so that it equals the exponential law at half the reach.
    power = 0.5 * steepness
    return lambda x: exp(-0.5 * steepness) * (2.0 * max(1.0 - x, 0.0)) ** power


LAWS = {"exponential": _exponential, "power": _power, "threshold": _threshold}


class Ignition:
    """The hazard law of one plant.

    Attributes:
        shape: Table of the law over gap / reach in `STEPS` steps; never rises.
        rate_s_um2: Hazard for each square micrometre at shape 1, clean water and the source's open voltage.
    """

    __slots__ = ("_plant", "rate_s_um2", "shape")

    # 64 V: the open voltage the rate is stated for.
    STATED_V = 64.0
    UM2_PER_MM2 = 1e6

    def __init__(self, plant: PlantSettings) -> None:
        law: IgnitionPlant = plant.ignition
        self._plant = law
        self.shape = [LAWS[law.law](law.steepness)(step / STEPS) for step in range(STEPS)]
        voltage = (plant.source.open_v / self.STATED_V) ** law.voltage_exponent
        self.rate_s_um2 = law.rate_s_mm2 / self.UM2_PER_MM2 * voltage

    def dirt_rate(self, dirt: float) -> float:
        """What dirt makes of the hazard."""
        return 1.0 + self._plant.dirt_rate_gain * dirt

    def dirt_reach(self, dirt: float) -> float:
        """What dirt makes of the reach."""
        return 1.0 + self._plant.dirt_reach_gain * dirt
