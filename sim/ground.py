"""What lies under the electrode: the work with its holes, the reference plate, or nothing."""

from __future__ import annotations

from enum import Enum
from math import hypot, inf, pi, radians
from typing import Final

from controller.plan.patterns import places
from controller.plan.plan import Plan
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.hole import HoleTruth
from sim.plates import ReferencePlate, WorkPlate, job_box_um
from sim.random import Draws
from sim.rings import Rings
from sim.settings import PlantSettings
from sim.workpiece import Workpiece

# A place this near to a planned hole is that hole. Chosen: more than all lost motion, less than the smallest rod.
SAME_PLACE_UM: Final = 300.0
# The file states heights with a standard uncertainty. Further out than this many is a mistake, which is a fault of its
# own. Chosen so that what is stated at k = 2 is sometimes wrong, as it would be.
WORST_SD: Final = 3.0


class Below(Enum):
    """What is under the electrode."""

    NOTHING = "nothing"
    WORK = "work"
    REFERENCE = "reference"


class Ground:
    """Both plates in their true places.

    Args:
        machine: Where the maker put work and reference plate, and how sure he is of their heights.
        job: The work's size (the box of its holes and touch points) and thickness.
        plan: Where the holes are.
        plant: Tilt, bow, size of the reference plate, row height of the hole model.
        rings: The electrode's ring grid, which its holes share.
        draws: The plates' own stream.
    """

    def __init__(
        self, machine: Machine, job: Job, plan: Plan, plant: PlantSettings, rings: Rings, draws: Draws
    ) -> None:
        self._plan = plan
        self._rings = rings
        self._drawn_mm = places(job.holes)
        self._stated_um = self._thickness_um = job.work.thickness_mm * UM_PER_MM
        self._row_um = plant.rod.row_um
        self.holes: dict[int, HoleTruth] = {}
        self._marks: dict[tuple[int, int], HoleTruth] = {}
        self._moved_um = (0.0, 0.0)
        place, reference = machine.work_place, machine.reference_plate
        turned_rad = radians(place.rotation_deg)
        points_mm = [(hole.x_mm, hole.y_mm) for hole in plan.holes] + list(plan.touch_points_mm)
        points_mm = points_mm or [place.origin_mm]
        centre_um, half_um = job_box_um(points_mm, turned_rad, plant.plate.margin_mm)
        self.work = WorkPlate(
            _drawn_um(place.surface_height_mm, place.surface_height_u_mm, draws),
            centre_um,
            half_um,
            turned_rad,
            plant.plate.tilt_mm / 100.0,
            2.0 * pi * draws.uniform(),
            plant.plate.bow_mm * UM_PER_MM,
        )
        self.placed = _placed(plant, self._thickness_um)
        self.reference = ReferencePlate(
            reference.x_mm * UM_PER_MM,
            reference.y_mm * UM_PER_MM,
            _drawn_um(reference.height_mm, reference.height_u_mm, draws),
            plant.plate.reference_half_mm * UM_PER_MM,
        )

    def move_work(self, x_um: float, y_um: float) -> None:
        """Somebody pushes the work aside, its holes with it."""
        self._moved_um = (self._moved_um[0] + x_um, self._moved_um[1] + y_um)

    def lift_work(self, by_um: float) -> None:
        """The work stands higher by this much."""
        self.work.lift(by_um)

    def thicken(self, times: float) -> None:
        """Holes begun from now on are in a plate so many times as thick."""
        self._thickness_um = times * self._stated_um

    def in_work(self, x_um: float, y_um: float) -> tuple[float, float]:
        """A place of the machine as a place of the work, wherever that has been pushed (um)."""
        return x_um - self._moved_um[0], y_um - self._moved_um[1]

    def below(self, x_um: float, y_um: float) -> Below:
        """What is under this place."""
        work = self.work if self.placed is None else self.placed
        if work.covers(*self.in_work(x_um, y_um)):
            return Below.WORK
        return Below.REFERENCE if self.reference.covers(x_um, y_um) else Below.NOTHING

    def height_um(self, x_um: float, y_um: float) -> float:
        """Height of the metal under this place (um), -inf over nothing."""
        below = self.below(x_um, y_um)
        if below is Below.WORK:
            return self.face_um(x_um, y_um)
        return self.reference.height_um if below is Below.REFERENCE else -inf

    def face_um(self, x_um: float, y_um: float) -> float:
        """Height of the work's face at a place (um), beyond its edges too."""
        x_um, y_um = self.in_work(x_um, y_um)
        return self.work.surface_um(x_um, y_um) if self.placed is None else self.placed.face_um(x_um, y_um)

    def hole_at(self, x_um: float, y_um: float) -> HoleTruth:
        """The hole of this place: a planned one, or a mark that nobody planned.

        A rod that stands off the middle of a hole by more than its room stands on the rim.
        """
        x_um, y_um = self.in_work(x_um, y_um)
        index = self._planned(x_um, y_um)
        if index is not None:
            hole = self.holes.get(index)
            if hole is None:
                hole = self.holes[index] = self._solid()
            if hole.centre_um is None or hole.removed_um3 <= 0.0:
                hole.centre_um = (x_um, y_um)
            if hypot(hole.centre_um[0] - x_um, hole.centre_um[1] - y_um) < self._rim_um(hole):
                return hole
        mark = round(x_um / SAME_PLACE_UM), round(y_um / SAME_PLACE_UM)
        if mark not in self._marks:
            self._marks[mark] = self._solid()
            self._marks[mark].centre_um = (x_um, y_um)
        return self._marks[mark]

    def _planned(self, x_um: float, y_um: float) -> int | None:
        """The number of the planned hole at a place; on a placed plate holes stand where they are drawn."""
        if self.placed is None:
            planned = ((hole.index, hole.x_mm, hole.y_mm) for hole in self._plan.holes)
        else:
            x_um, y_um = self.placed.drawn_um(x_um, y_um)
            planned = ((place, *at) for place, at in enumerate(self._drawn_mm, 1))
        return next(
            (
                index
                for index, x_mm, y_mm in planned
                if hypot(x_mm * UM_PER_MM - x_um, y_mm * UM_PER_MM - y_um) < SAME_PLACE_UM
            ),
            None,
        )

    @staticmethod
    def _rim_um(hole: HoleTruth) -> float:
        """How far off the middle a tip still goes in: until its cone's middle half meets the rim."""
        return SAME_PLACE_UM if hole.removed_um3 <= 0.0 else hole.wall_um[0] - 0.5 * hole.rings.radius_um

    def _solid(self) -> HoleTruth:
        return HoleTruth(self._rings, self._thickness_um, self._row_um)


def _placed(plant: PlantSettings, thickness_um: float) -> Workpiece | None:
    """The plate as the plant says it lies, if it does."""
    return Workpiece(plant.placed, thickness_um) if plant.placed.used else None


def _drawn_um(stated_mm: float, u_mm: float, draws: Draws) -> float:
    """A true height behind a stated one (um)."""
    return (stated_mm + u_mm * max(-WORST_SD, min(WORST_SD, draws.normal()))) * UM_PER_MM
