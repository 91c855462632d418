"""From a job and a machine to a plan, or to everything that speaks against it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from controller.plan import limits
from controller.plan.frame import Frame
from controller.plan.keep_outs import Ways, obstacles, ways
from controller.plan.order import least_mm, length_mm, spread_order, travel_order
from controller.plan.patterns import places
from controller.plan.plan import Plan, PlannedHole, Travel
from controller.settings.job import Job, Point
from controller.settings.machine import Machine


class PlanRefused(Exception):
    """The machine can't do the job as it stands. `problems` holds a sentence for each reason, remedy included."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))

    def of(self, job_file: str) -> PlanRefused:
        """The same, each reason with the job's file in front."""
        return PlanRefused([f"{job_file}: {problem}" for problem in self.problems])


def build_plan(job: Job, machine: Machine) -> Plan:
    """Holes in travel order and touch points, both in the machine frame; raises PlanRefused with every reason."""
    in_job = places(job.holes)
    if limits.too_many(len(in_job)):
        raise PlanRefused(limits.too_many(len(in_job)))
    frame = Frame.of(machine.work_place)
    holes = [frame.to_machine(place) for place in in_job]
    touch_points = [frame.to_machine(point) for point in job.work.touch_points_mm]
    standing = obstacles(job, machine)
    problems = [
        *limits.outside_travel("hole", holes, machine),
        *limits.outside_travel("touch point", touch_points, machine),
        *limits.colliding(in_job, job.holes.diameter_mm),
        *limits.touch_on_hole(job.work.touch_points_mm, in_job, job),
        *limits.too_deep(job, machine),
        *limits.rod_too_short(job, machine),
        *limits.under_keep_outs("hole", holes, standing, job, machine),
        *limits.under_keep_outs("touch point", touch_points, standing, job, machine),
    ]
    if problems:
        raise PlanRefused(problems)
    around = ways(job, machine)
    plate: Point = (machine.reference_plate.x_mm, machine.reference_plate.y_mm)
    cut_off = limits.cut_off(plate, holes, around)
    if cut_off:
        raise PlanRefused(cut_off)
    order = _order(job, holes, plate, around)
    return Plan(
        tuple(PlannedHole(place + 1, *holes[place]) for place in order),
        tuple(touch_points),
        _travel(job, holes, order, plate, around),
        tuple(standing),
        around,
    )


def _order(job: Job, holes: Sequence[Point], start: Point, around: Ways) -> list[int]:
    order = travel_order(holes, start, around.length_mm if around.obstacles else math.dist)
    return spread_order(holes, order, job.holes.apart_mm) if job.holes.apart_mm else order


def _travel(job: Job, holes: Sequence[Point], order: Sequence[int], start: Point, around: Ways) -> Travel:
    return Travel(
        length_mm(holes, order, start, around.length_mm),
        length_mm(holes, range(len(holes)), start, around.length_mm),
        least_mm(holes, start),
        sum(math.dist(holes[a], holes[b]) < job.holes.apart_mm for a, b in pairwise(order)),
    )
