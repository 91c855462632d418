"""The plates: where they are, and what water leaves on them."""

from __future__ import annotations

from math import inf, pi

import pytest

from sim.plates import Film, ReferencePlate, WorkPlate, job_box_um, leak_ohm, ring_areas_um2


def flat_rings(diameter_um: float) -> list[tuple[float, float]]:
    return [(0.0, area) for area in ring_areas_um2(diameter_um / 2.0, 24)]


def test_tilt_rises_across_the_plate_and_bow_lifts_its_middle() -> None:
    plate = WorkPlate(-60_000.0, (50_000.0, 50_000.0), (50_000.0, 30_000.0), 0.0, 0.0030, 0.0, 60.0)
    assert plate.surface_um(100_000.0, 50_000.0) - plate.surface_um(0.0, 50_000.0) == pytest.approx(300.0)
    middle = WorkPlate(-60_000.0, (50_000.0, 50_000.0), (50_000.0, 30_000.0), 0.0, 0.0, 0.0, 60.0)
    assert middle.surface_um(50_000.0, 50_000.0) == pytest.approx(-59_940.0)
    assert middle.surface_um(100_000.0, 80_000.0) == pytest.approx(-60_000.0)


def test_a_turned_plate_covers_its_own_corners_only() -> None:
    centre_um, half_um = job_box_um([(0.0, 0.0), (0.0, 100.0), (-60.0, 100.0), (-60.0, 0.0)], pi / 2.0, 5.0)
    assert centre_um == pytest.approx((-30_000.0, 50_000.0))
    assert half_um == pytest.approx((55_000.0, 35_000.0))
    plate = WorkPlate(0.0, centre_um, half_um, pi / 2.0, 0.0, 0.0, 0.0)
    assert plate.covers(4_000.0, -4_000.0)
    assert not plate.covers(6_000.0, 50_000.0)


def test_the_reference_plate_is_a_square_at_its_place() -> None:
    plate = ReferencePlate(10_000.0, 10_000.0, -60_000.0, 8_000.0)
    assert plate.covers(17_900.0, 2_100.0)
    assert not plate.covers(18_100.0, 10_000.0)


def test_a_film_drains_by_e_in_its_time_and_leaves_what_wetting_holds() -> None:
    film = Film(60.0, 20.0, 2.0, 1000.0, 4.0)
    assert film.reach_um(0.0) == 0.0
    film.run(True, 9.0)
    assert film.thickness_um(9.5) == pytest.approx(60.0)
    film.run(False, 10.0)
    assert film.thickness_um(10.0) == pytest.approx(60.0)
    assert film.thickness_um(12.0) == pytest.approx(20.0 + 40.0 / 2.718281828)
    assert film.thickness_um(100.0) == pytest.approx(20.0, abs=1e-6)


def test_a_drip_joins_tip_and_plate_for_several_seconds() -> None:
    film = Film(60.0, 20.0, 2.0, 1000.0, 4.0)
    film.run(True, -1.0)
    film.run(False, 0.0)
    assert film.reach_um(3.9) > 1000.0
    assert film.reach_um(4.1) < 60.0


@pytest.mark.parametrize(
    ("conductivity_us_cm", "expected_ohm"),
    [(500.0, 530.0), (1500.0, 177.0)],  # electrics.md: 30 um film under a 1.2 mm rod
)
def test_the_leak_through_a_film_is_that_of_the_requirement_table(
    conductivity_us_cm: float, expected_ohm: float
) -> None:
    ohm = leak_ohm(30.0, 40.0, flat_rings(1200.0), conductivity_us_cm)
    assert ohm == pytest.approx(expected_ohm, rel=0.01)


@pytest.mark.parametrize(("conductivity_us_cm", "leak_ma"), [(1.0, 0.429), (10.0, 4.29), (100.0, 42.9), (500.0, 214.0)])
def test_the_leak_current_is_that_of_the_published_arithmetic(conductivity_us_cm: float, leak_ma: float) -> None:
    # references.md section 1, leak through water: 64 V, 1.6 mm face, 30 um (recomputed there).
    ohm = leak_ohm(30.0, 40.0, flat_rings(1600.0), conductivity_us_cm)
    assert 64.0 / ohm * 1000.0 == pytest.approx(leak_ma, rel=0.01)


def test_a_needle_leaks_less_than_a_flat_tip_and_nothing_above_the_film() -> None:
    needle = [(50.0 * n, area) for n, area in enumerate(ring_areas_um2(600.0, 24))]
    assert leak_ohm(10.0, 40.0, needle, 500.0) > 10.0 * leak_ohm(10.0, 40.0, flat_rings(1200.0), 500.0)
    assert leak_ohm(40.0, 40.0, flat_rings(1200.0), 500.0) == inf
