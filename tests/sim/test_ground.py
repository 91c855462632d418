"""What lies under a place, and how far its true height is from what the machine file says."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.plan.plan import Plan, PlannedHole
from controller.settings.load import load_job
from controller.settings.machine import Machine
from sim.ground import Below, Ground
from sim.random import Streams
from sim.rings import rings
from sim.settings import load_plant

COUPON = Path(__file__).resolve().parents[2] / "configs" / "jobs" / "coupon.toml"
PLAN = Plan((PlannedHole(7, 50.0, 50.0), PlannedHole(8, 56.0, 50.0)), ((45.0, 45.0), (70.0, 45.0), (55.0, 70.0)))


def ground(seed: int = 1) -> Ground:
    plant = load_plant()
    grid = rings(600.0, 0.0, plant.rod.ring_um)
    return Ground(Machine(name="bench"), load_job(COUPON), PLAN, plant, grid, Streams(seed).named("plates"))


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "below"),
    [
        (50.0, 50.0, Below.WORK),
        (40.5, 74.5, Below.WORK),
        (10.0, 10.0, Below.REFERENCE),
        (17.9, 2.1, Below.REFERENCE),
        (30.0, 30.0, Below.NOTHING),
        (200.0, 50.0, Below.NOTHING),
    ],
)
def test_each_place_has_what_the_maker_put_there(x_mm: float, y_mm: float, below: Below) -> None:
    assert ground().below(1000.0 * x_mm, 1000.0 * y_mm) is below


def test_a_place_within_the_lost_motion_of_a_hole_is_that_hole() -> None:
    place = ground()
    hole = place.hole_at(50_040.0, 49_960.0)
    assert place.hole_at(50_000.0, 50_000.0) is hole
    assert place.holes == {7: hole}


def test_a_place_that_nobody_planned_is_a_mark_of_its_own_and_no_hole() -> None:
    place = ground()
    mark = place.hole_at(45_000.0, 45_000.0)
    assert place.hole_at(45_010.0, 45_010.0) is mark
    assert place.hole_at(70_000.0, 45_000.0) is not mark
    assert place.holes == {}


def test_true_heights_scatter_about_the_stated_ones_as_the_file_says() -> None:
    stated = Machine(name="bench")
    grounds = [ground(seed) for seed in range(200)]
    off_um = [place.reference.height_um - 1000.0 * stated.reference_plate.height_mm for place in grounds]
    u_um = 1000.0 * stated.reference_plate.height_u_mm
    assert max(abs(off) for off in off_um) <= 3.0 * u_um
    # 4.55 % of a normal law lie beyond two standard deviations (from memory): some nine of 200.
    assert 3 <= sum(abs(off) > 2.0 * u_um for off in off_um) <= 20
    # A normal distribution whose tails are laid on three standard deviations keeps nearly all of its own.
    assert (sum(off * off for off in off_um) / len(off_um)) ** 0.5 == pytest.approx(u_um, rel=0.15)
