"""The water: how dirty and conductive it grows over a job, and the debris that stands in the gap."""

from __future__ import annotations

from math import exp, log1p
from typing import Final

from sim.settings import PlantSettings

UM3_PER_MM3: Final = 1e9
# 1 uS/cm in siemens per micrometre of gap and square micrometre of area: 1e-6 S / 1e4 um. Units.
S_PER_UM: Final = 1e-10


class WaterTruth:
    """The water in the tank, shared by all holes of a job."""

    __slots__ = ("_plant", "extra_us_cm", "removed_um3")

    def __init__(self, plant: PlantSettings) -> None:
        self._plant = plant.water
        self.removed_um3 = 0.0
        self.extra_us_cm = 0.0  # a fault: salt

    @property
    def dirt(self) -> float:
        """Dirt that the coarse filter lets by: 0 clean, 1 the end of a long job, times the plant's scale."""
        plant = self._plant
        full = 1.0 - exp(-self.removed_um3 / (plant.dirt_volume_mm3 * UM3_PER_MM3))
        return plant.dirt_scale * full

    @property
    def conductivity_us_cm(self) -> float:
        """The water's conductivity now."""
        own_us_cm = self._plant.conductivity_us_cm * (1.0 + self._plant.conductivity_gain * self.dirt)
        return own_us_cm + self.extra_us_cm

    def set_dirt(self, dirt: float) -> None:
        """Start with water as dirty as this (below the plant's dirt scale)."""
        plant = self._plant
        share = min(dirt / plant.dirt_scale, 1.0 - 1e-9) if plant.dirt_scale > 0.0 else 0.0
        self.removed_um3 = -log1p(-share) * plant.dirt_volume_mm3 * UM3_PER_MM3


class GapWater:
    """Debris in one gap: made by discharges, washed out the slower the deeper the hole, at once when it is open."""

    __slots__ = ("_plant", "debris_um3")

    def __init__(self, plant: PlantSettings) -> None:
        self._plant = plant.water
        self.debris_um3 = 0.0

    @property
    def dirt(self) -> float:
        """The gap's own dirt, on the scale of `WaterTruth.dirt`."""
        return self.debris_um3 / (self._plant.debris_volume_mm3 * UM3_PER_MM3)

    def flush(self, dt_s: float, depth_um: float, through: bool, flow: bool, turning: bool) -> None:
        """Wash for `dt_s`."""
        plant = self._plant
        rate_hz = plant.flush_rate_hz * (plant.flush_through_gain if through else exp(-depth_um / plant.flush_depth_um))
        if not flow:
            rate_hz *= plant.flush_still_share
        if turning:
            rate_hz *= plant.flush_turning_gain
        self.debris_um3 *= exp(-rate_hz * dt_s)
