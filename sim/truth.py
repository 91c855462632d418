"""What truth.csv needs and no wire tells: the hole a plant would make if nothing stopped it."""

from __future__ import annotations

from functools import lru_cache
from math import inf
from typing import Final

from sim.electrode import ElectrodeTruth
from sim.erosion import Erosion
from sim.hole import HoleTruth
from sim.random import Streams
from sim.rings import rings
from sim.settings import PlantSettings
from sim.water import WaterTruth

# Tick of the ideal servo. Chosen: a few discharges.
TICK_S: Final = 0.01
# The true gap it keeps, its gain and its fastest moves each tick. Chosen: the middle of what sparks well.
GAP_UM: Final = 30.0
GAIN: Final = 0.4
DOWN_UM: Final = 3.0
UP_UM: Final = 6.0
# Over-travel beyond the far face: several rod radii, more than any cone. Chosen.
OVER_RADII: Final = 8.0
# The hole is done when nothing has sparked for this long; no hole may take longer than the limit. Chosen.
IDLE_S: Final = 3.0
LIMIT_S: Final = 900.0
# Dirt is rounded to this, so that a job needs few clones: the full diameter changes by less than 2 um over it. Chosen.
DIRT_STEP: Final = 0.1


def full_diameter_um(
    plant: PlantSettings, thickness_um: float, rod_um: float, dirt: float, seed: int, bore_um: float = 0.0
) -> float:
    """Diameter of the largest pin that passes a hole drilled with unlimited over-travel in water of this dirt."""
    steps = round(dirt / DIRT_STEP)
    return _full_diameter_um(plant, thickness_um, rod_um, bore_um, steps, seed)


@lru_cache(maxsize=256)
def _full_diameter_um(
    plant: PlantSettings, thickness_um: float, rod_um: float, bore_um: float, dirt_steps: int, seed: int
) -> float:
    grid = rings(0.5 * rod_um, bore_um, plant.rod.ring_um)
    electrode = ElectrodeTruth(grid, 1000.0 * thickness_um, plant.rod.runout_um)
    water = WaterTruth(plant)
    water.set_dirt(dirt_steps * DIRT_STEP)
    hole = HoleTruth(grid, thickness_um, plant.rod.row_um)
    hole.reach = 1.0  # the plant's mean hole
    erosion = Erosion(plant, Streams(seed), electrode, water, thickness_um, inf)
    erosion.start_hole(0.0, hole)
    drill_ideally(erosion, hole, OVER_RADII * grid.radius_um)
    return hole.exit_diameter_um()


def driven_on_um(plant: PlantSettings, electrode: ElectrodeTruth, hole: HoleTruth, dirt: float, seed: int) -> float:
    """Diameter of the largest pin that would pass this very hole, had this very electrode been driven on without limit.

    Neither is changed: copies are driven on, from where the tip stands at the far face until nothing sparks any more.
    """
    rings_ = hole.rings
    worn = ElectrodeTruth(rings_, 1000.0 * hole.thickness_um, electrode.run_out_um)
    worn.shape_as(electrode)
    copy = HoleTruth(rings_, hole.thickness_um, plant.rod.row_um)
    copy.shape_as(hole)
    water = WaterTruth(plant)
    water.set_dirt(dirt)
    erosion = Erosion(plant, Streams(seed), worn, water, hole.thickness_um, inf)
    erosion.start_hole(0.0, copy)
    drill_ideally(erosion, copy, worn.cone_um + OVER_RADII * GAP_UM, from_um=-hole.thickness_um)
    return copy.exit_diameter_um()


def drill_ideally(
    erosion: Erosion, hole: HoleTruth, over_um: float, rev_min: float = 0.0, from_um: float = 2.0 * GAP_UM
) -> float:
    """Drill one hole with a servo that knows the true gap, until it is open and sparks no more; the seconds it took.

    The tip begins at a height of `from_um` over the face.
    """
    electrode = erosion.electrode
    face_um = electrode.length_um + from_um
    now_s = last_s = 0.0
    sparks = erosion.sparks
    while now_s < LIMIT_S and not (hole.open and now_s - last_s > IDLE_S):
        erosion.advance(TICK_S, face_um, live=True, flow=True, rev_min=rev_min)
        now_s += TICK_S
        if erosion.sparks != sparks:
            sparks, last_s = erosion.sparks, now_s
        face_um += _step_um(erosion)
        face_um = max(face_um, electrode.length_um - hole.thickness_um - over_um)
    return now_s


def _step_um(erosion: Erosion) -> float:
    if erosion.in_contact or erosion.bridged:
        return UP_UM
    gap_um = erosion.gap_um
    return -DOWN_UM if gap_um == inf else max(-DOWN_UM, min(UP_UM, GAIN * (GAP_UM - gap_um)))
