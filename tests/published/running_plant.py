"""A plant to run published checks on: one electrode held over one plate, with keys of the plant file set aside."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sim.electrode import ElectrodeTruth
from sim.erosion import Erosion
from sim.hole import HoleTruth
from sim.random import Streams
from sim.rings import rings
from sim.settings import PlantSettings, load_plant
from sim.water import WaterTruth

TICK_S = 0.01
NEW_UM = 40_000.0  # how far a new electrode stands out: any length will do


def plant_with(**sections: dict[str, Any]) -> PlantSettings:
    """The default plant with some keys set, validated like a plant file."""
    default = load_plant().model_dump()
    for section, keys in sections.items():
        default[section] |= keys
    return PlantSettings.model_validate(default)


class Bench:
    """A new, flat electrode over an untouched plate whose face is at height 0."""

    def __init__(self, plant: PlantSettings, diameter_mm: float, thickness_um: float, seed: int) -> None:
        grid = rings(500.0 * diameter_mm, 0.0, plant.rod.ring_um)
        self.plant = plant
        self.water = WaterTruth(plant)
        self.electrode = ElectrodeTruth(grid, NEW_UM, plant.rod.runout_um)
        self.hole = HoleTruth(grid, thickness_um, plant.rod.row_um)
        self.erosion = Erosion(plant, Streams(seed), self.electrode, self.water, thickness_um, 6000.0)
        self.erosion.start_hole(0.0, self.hole)
        self._face_um = NEW_UM

    def stand(self, gap_um: float) -> list[tuple[float, float]]:
        """One tick with the water on and a new face this far above an untouched plate."""
        self._face_um = NEW_UM + gap_um
        return self.erosion.advance(TICK_S, self._face_um, True, True, 0.0)

    def follow(self, gap_um: float, ticks: int) -> Iterator[list[tuple[float, float]]]:
        """Ticks in which the tip keeps a true gap, no faster than 0.5 mm/s, and lifts off while anything shorts."""
        for _ in range(ticks):
            erosion = self.erosion
            shorted = erosion.in_contact or erosion.bridged
            off_um = 5.0 if shorted else min(gap_um - erosion.gap_um, 5.0)
            self._face_um += max(off_um, -5.0)
            yield erosion.advance(TICK_S, self._face_um, True, True, 0.0)


def volt_seconds(segments: list[tuple[float, float]], low_v: float, high_v: float) -> float:
    """Integral of the gap voltage (V·s) over the parts of a tick in which it lies between two levels."""
    total, begun_s = 0.0, 0.0
    for end_s, gap_v in segments:
        if low_v < gap_v < high_v:
            total += gap_v * (end_s - begun_s)
        begun_s = end_s
    return total
