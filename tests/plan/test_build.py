"""A plan is made when the machine can do the job, and refused with every reason when it can't."""

from __future__ import annotations

import pytest

from controller.plan.build import PlanRefused, build_plan
from controller.plan.frame import Frame
from controller.plan.patterns import places
from controller.settings.job import Job, Points, Rectangular
from controller.settings.load import load_job, load_machine, resolve
from controller.settings.machine import Axes, Holder, Machine, WorkPlace
from tests.plan.made import job, machine


def test_the_shipped_jobs_are_planned_on_every_shipped_machine() -> None:
    for name, count in (("diffuser", 320), ("coupon", 6), ("endurance", 420)):
        for host in ("virtual", "status", "ack"):
            plan = build_plan(load_job(resolve(name, kind="jobs")), load_machine(resolve(host, kind="machines")))
            assert sorted(hole.index for hole in plan.holes) == list(range(1, count + 1))


def test_holes_keep_their_number_from_the_job_and_stand_in_the_machine_frame() -> None:
    wanted, host = job(), machine(work_place=WorkPlace(origin_mm=(60.0, 50.0), rotation_deg=30.0))
    plan = build_plan(wanted, host)
    frame, in_job = Frame.of(host.work_place), places(wanted.holes)
    for hole in plan.holes:
        assert frame.to_job((hole.x_mm, hole.y_mm)) == pytest.approx(in_job[hole.index - 1])
    assert plan.touch_points_mm == tuple(frame.to_machine(point) for point in wanted.work.touch_points_mm)


def holes_at(*points: tuple[float, float]) -> Points:
    return Points(kind="list", at_mm=list(points))


REFUSALS = [
    (
        job(holes__pattern=[holes_at((10.0, 10.0), (190.0, 10.0))]),
        machine(),
        (
            "hole 2 is outside the travel: at x 230.00, y 50.00 mm in the machine, the travel is x 0 to 220, y 0 to 220; "
            "move work_place.origin_mm, turn work_place.rotation_deg or change the job"
        ),
    ),
    (
        job(holes__pattern=[holes_at((10.0, 10.0), (190.0, 10.0), (10.0, 200.0))]),
        machine(),
        (
            "2 holes are outside the travel: number 2 at x 230.00, y 50.00 mm in the machine, the travel is x 0 to 220, "
            "y 0 to 220; move work_place.origin_mm, turn work_place.rotation_deg or change the job"
        ),
    ),
    (
        job(work__touch_points_mm=[(2.0, 2.0), (58.0, 2.0), (30.0, 190.0)]),
        machine(),
        (
            "touch point 3 is outside the travel: at x 70.00, y 230.00 mm in the machine, the travel is x 0 to 220, "
            "y 0 to 220; move work_place.origin_mm, turn work_place.rotation_deg or change the job"
        ),
    ),
    (
        job(holes__pattern=[holes_at((10.0, 10.0), (20.0, 10.0), (10.0, 10.0))]),
        machine(),
        (
            "holes 1 and 3 are the same hole twice; holes of 1.5 mm need at least that much from centre to centre: "
            "change the patterns"
        ),
    ),
    (
        job(holes__pattern=[Rectangular(kind="rectangular", origin_mm=(10.0, 10.0), columns=3, rows=1, pitch_mm=1.4)]),
        machine(),
        (
            "holes 1 and 2 are 1.40 mm apart and cut into each other (and 1 more pairs); holes of 1.5 mm need at least that "
            "much from centre to centre: change the patterns"
        ),
    ),
    (
        job(work__touch_points_mm=[(6.5, 6.5), (58.0, 2.0), (30.0, 48.0)]),
        machine(),
        "work.touch_points_mm[0] stands on hole 1: move it at least 1.35 mm from the hole's centre",
    ),
    (
        job(),
        machine(axes=Axes(travel_min_mm=(0.0, 0.0, -45.0))),
        (
            "the holder would have to go down to z -49.0 mm to drill 7 mm deep with the shortest electrode, the travel ends "
            "at -45; raise the work or holder.min_protrusion_mm by 4.0 mm"
        ),
    ),
    (
        job(),
        machine(work_place=WorkPlace(surface_height_mm=-52.0)),
        (
            "the holder would have to go up to z 3.7 mm to clear the work with the longest electrode, the travel ends at 0; "
            "lower the work, holder.protrusion_mm or work_place.clear_height_mm by 3.7 mm"
        ),
    ),
    (
        job(work__thickness_mm=20.0),
        machine(),
        (
            "the holder would meet the work: the electrode stands out 22 mm at the least and goes 26 mm down; set "
            "holder.min_protrusion_mm to 27 or more"
        ),
    ),
    (
        job(electrode__length_mm=40.0),
        machine(),
        "electrode.length_mm is 40, less than holder.protrusion_mm (45): put a longer rod in, or let it stand out less",
    ),
    (
        job(holes__pattern=[Rectangular(kind="rectangular", origin_mm=(0, 0), columns=500, rows=500, pitch_mm=0.1)]),
        machine(),
        "the patterns make 250000 holes, more than 20000: split the job",
    ),
]


@pytest.mark.parametrize(("wanted", "host", "reason"), REFUSALS)
def test_a_job_the_machine_cannot_do_is_refused_with_the_reason_and_the_remedy(
    wanted: Job, host: Machine, reason: str
) -> None:
    with pytest.raises(PlanRefused) as refused:
        build_plan(wanted, host)
    assert refused.value.problems == (reason,)


def test_every_reason_is_named_at_once() -> None:
    wanted = job(
        electrode__length_mm=40.0,
        work__touch_points_mm=[(6.0, 6.0), (58.0, 2.0), (30.0, 190.0)],
        holes__pattern=[holes_at((6.0, 6.0), (6.0, 6.5), (190.0, 0.0))],
    )
    with pytest.raises(PlanRefused) as refused:
        build_plan(wanted, machine(holder=Holder(min_protrusion_mm=7.5)))
    assert len(refused.value.problems) == 6
