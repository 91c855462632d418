"""From a job and a machine to a plan, or to everything that speaks against it."""

from __future__ import annotations

from collections.abc import Sequence

from controller.plan import limits
from controller.plan.frame import Frame
from controller.plan.order import travel_order
from controller.plan.patterns import places
from controller.plan.plan import Plan, PlannedHole
from controller.settings.job import Job
from controller.settings.machine import Machine


class PlanRefused(Exception):
    """The machine can't do the job as it stands. `problems` holds a sentence for each reason, remedy included."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


def build_plan(job: Job, machine: Machine) -> Plan:
    """Holes in travel order and touch points, both in the machine frame; raises PlanRefused with every reason."""
    in_job = places(job.holes)
    if limits.too_many(len(in_job)):
        raise PlanRefused(limits.too_many(len(in_job)))
    frame = Frame.of(machine.work_place)
    holes = [frame.to_machine(place) for place in in_job]
    touch_points = [frame.to_machine(point) for point in job.work.touch_points_mm]
    problems = [
        *limits.outside_travel("hole", holes, machine),
        *limits.outside_travel("touch point", touch_points, machine),
        *limits.colliding(in_job, job.holes.diameter_mm),
        *limits.touch_on_hole(job.work.touch_points_mm, in_job, job),
        *limits.too_deep(job, machine),
        *limits.rod_too_short(job, machine),
    ]
    if problems:
        raise PlanRefused(problems)
    plate = machine.reference_plate
    order = travel_order(holes, (plate.x_mm, plate.y_mm))
    return Plan(tuple(PlannedHole(place + 1, *holes[place]) for place in order), tuple(touch_points))
