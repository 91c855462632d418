"""Travel of the planned order against the order of the job, with keep-outs; and how long planning takes.

Printed beside: turning at the end of each row (what a person would do by hand), and a length that no order can beat.

Run: python -m tests.benchmarks.order
"""

from __future__ import annotations

import random
from time import perf_counter

from controller.plan.build import build_plan
from controller.plan.frame import Frame
from controller.plan.keep_outs import ways
from controller.plan.order import _serpentine, length_mm
from controller.plan.patterns import places
from controller.settings.find import resolve
from controller.settings.job import Clamp, Job, Points
from controller.settings.load import load_job, load_machine

CLAMPS = (
    Clamp(name="left", from_mm=(-14.0, 20.0), to_mm=(-2.0, 34.0), above_mm=8.0),
    Clamp(name="right", from_mm=(124.0, 50.0), to_mm=(136.0, 64.0), above_mm=8.0),
    Clamp(name="finger", from_mm=(47.4, 24.7), to_mm=(49.6, 25.1), above_mm=8.0),
    Clamp(name="post", from_mm=(89.4, 56.3), to_mm=(91.6, 56.5), above_mm=8.0),
)


def job_with(job: Job, clamps: tuple[Clamp, ...], scattered: int = 0) -> Job:
    """The diffuser with clamps, holes in the way left out; or holes scattered at random."""
    draw = random.Random(1)
    at = places(job.holes)
    if scattered:
        grid = [(float(x), float(y)) for x in range(0, 118, 2) for y in range(0, 96, 2)]
        at = draw.sample(grid, scattered)
    away = [
        place
        for place in at
        if not any(
            clamp.from_mm[0] - 2 < place[0] < clamp.to_mm[0] + 2
            and clamp.from_mm[1] - 2 < place[1] < clamp.to_mm[1] + 2
            for clamp in clamps
        )
    ]
    holes = job.holes.model_copy(update={"pattern": [Points(kind="list", at_mm=away)]})
    touch = [(-1.0, -1.0), (121.0, -1.0), (61.0, 98.0)]
    work = job.work.model_copy(update={"keep_out": clamps, "touch_points_mm": touch})
    return job.model_copy(update={"holes": holes, "work": work})


def main() -> None:
    machine, diffuser = load_machine(resolve("virtual", kind="machines")), load_job(resolve("diffuser", kind="jobs"))
    print(f"{'job':30}{'holes':>6}{'job order':>11}{'by rows':>10}{'planned':>10}{'least':>9}{'gain':>7}{'took':>8}")
    cases = (
        ("diffuser", diffuser),
        ("diffuser, four keep-outs", job_with(diffuser, CLAMPS)),
        ("300 scattered", job_with(diffuser, (), 300)),
        ("300 scattered, four keep-outs", job_with(diffuser, CLAMPS, 300)),
        ("2000 scattered", job_with(diffuser, (), 2000)),
    )
    for name, job in cases:
        began = perf_counter()
        plan = build_plan(job, machine)
        took = perf_counter() - began
        frame = Frame.of(machine.work_place)
        holes = [frame.to_machine(place) for place in places(job.holes)]
        start = (machine.reference_plate.x_mm, machine.reference_plate.y_mm)
        rows = length_mm(holes, _serpentine(holes), start, ways(job, machine).length_mm)
        travel = plan.travel
        print(
            f"{name:30}{len(plan.holes):>6}{travel.row_by_row_mm:>8.0f} mm{rows:>7.0f} mm{travel.length_mm:>7.0f} mm"
            f"{travel.least_mm:>6.0f} mm{travel.gain:>7.0%}{took:>6.1f} s"
        )


if __name__ == "__main__":
    main()
