"""Rings, electrode and hole: what craters take, and what diameters come of it."""

from __future__ import annotations

from itertools import pairwise
from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.electrode import ElectrodeTruth
from sim.hole import HoleTruth
from sim.rings import LARGEST_SIZE, rings

GRID = rings(600.0, 0.0, 35.0)


def test_rings_fill_the_rod_and_leave_the_bore_free() -> None:
    """The rings' areas add up to the rod's; those in a tube's bore carry no metal."""
    assert sum(GRID.area_um2) == pytest.approx(pi * 600.0**2)
    tube = rings(600.0, 700.0, 35.0)
    assert tube.solid * tube.width_um == pytest.approx(350.0, abs=tube.width_um)


@pytest.mark.parametrize("size", range(LARGEST_SIZE + 1))
def test_a_crater_is_shared_whole_among_rings(size: int) -> None:
    """What a crater holds is what the rings inside lose and what falls beyond the rod's radius, nothing else."""
    for ring in range(GRID.count):
        inside = sum(per_volume * GRID.area_um2[on] for on, per_volume in GRID.work_shares[size][ring])
        assert inside + GRID.outside_share[size][ring] == pytest.approx(1.0)
        on_tool = sum(per_volume * GRID.area_um2[on] for on, per_volume in GRID.tool_shares[size][ring])
        assert on_tool == pytest.approx(1.0)


@given(
    st.lists(st.tuples(st.integers(0, GRID.count - 1), st.floats(1e3, 1e6), st.integers(0, LARGEST_SIZE)), max_size=60)
)
def test_electrode_loses_exactly_its_craters(craters: list[tuple[int, float, int]]) -> None:
    """Whatever strikes where, the electrode's shape has lost the craters' sum."""
    electrode = ElectrodeTruth(GRID, 40_000.0, 0.0)
    for ring, volume_um3, size in craters:
        electrode.crater(ring, volume_um3, size)
    assert electrode.worn_um3 == pytest.approx(sum(volume for _, volume, _ in craters), rel=1e-9, abs=1e-3)
    assert electrode.length_um == pytest.approx(40_000.0 - min(electrode.height_um))
    assert min(electrode.profile_um) == pytest.approx(0.0, abs=1e-6)


@given(
    st.lists(st.tuples(st.integers(0, GRID.count + 19), st.floats(1e3, 1e7), st.integers(0, LARGEST_SIZE)), max_size=80)
)
def test_hole_loses_exactly_what_it_counts(craters: list[tuple[int, float, int]]) -> None:
    """Whatever strikes floor or wall, the hole misses what it counts, and nothing below the far face."""
    hole = HoleTruth(GRID, 1000.0, 50.0)
    for place, volume_um3, size in craters:
        if place < GRID.count:
            hole.crater(place, volume_um3, size)
        else:
            hole.side_crater(min(place - GRID.count, hole.exposed - 1), volume_um3, size)
    assert hole.missing_um3 == pytest.approx(hole.removed_um3, rel=1e-9, abs=1.0)
    assert max(hole.depth_um) <= 1000.0
    assert min(hole.wall_um) >= GRID.radius_um


def test_cone_volume() -> None:
    """A tip of cone length c has lost (2/3) pi r² c: r 0.8, c 0.5 mm is 0.670 mm³ (references section 2)."""
    grid = rings(800.0, 0.0, 10.0)
    electrode = ElectrodeTruth(grid, 40_000.0, 0.0)
    electrode.height_um = [500.0 * (ring + 0.5) / grid.count for ring in range(grid.count)]
    assert electrode.worn_um3 / 1e9 == pytest.approx(0.670, rel=0.002)


def test_advance_and_renewal_change_the_length_alone_or_everything() -> None:
    """Pushing the rod out keeps its worn tip; a new stick is flat and straight."""
    electrode = ElectrodeTruth(GRID, 40_000.0, 8.0)
    electrode.crater(5, 1e6, 3)
    electrode.bend_um = 5.0
    worn, length_um = electrode.worn_um3, electrode.length_um
    electrode.advance(2500.0)
    assert electrode.length_um == pytest.approx(length_um + 2500.0)
    assert electrode.worn_um3 == worn
    electrode.renew(45_000.0)
    assert (electrode.length_um, electrode.worn_um3, electrode.bend_um) == (45_000.0, 0.0, 0.0)


def test_a_bent_end_wears_away() -> None:
    """A bend sits in the rod's end: 3 mm of wear leave 1/e of it, pushing the rod out leaves all of it."""
    electrode = ElectrodeTruth(GRID, 40_000.0, 0.0)
    electrode.bend_um = 10.0
    electrode.advance(5000.0)
    electrode.wear_bend_off()
    assert electrode.bend_um == pytest.approx(10.0)
    electrode.height_um = [3000.0] * GRID.count
    electrode.crater(0, 1e-9, 0)
    electrode.wear_bend_off()
    assert electrode.bend_um == pytest.approx(10.0 / 2.71828, rel=1e-4)


def test_exit_grows_without_steps_from_the_pierced_tip_to_the_rod() -> None:
    """The largest pin resolves to less than 5 um while a cone sinks through, though the rings are 35 um wide."""
    hole = HoleTruth(GRID, 1000.0, 50.0)
    exits_um = []
    for sunk_um in range(1700):
        for ring in range(GRID.count):
            wanted_um = 1000.0 * (sunk_um / 1000.0) - 600.0 * (ring + 0.5) / GRID.count
            missing_um = min(wanted_um, 1000.1) - hole.depth_um[ring]
            if missing_um > 0.0 and hole.depth_um[ring] < 1000.0:
                hole.crater(ring, missing_um * GRID.area_um2[ring], 0)
        exits_um.append(hole.exit_diameter_um())
    pierced = next(at for at, exit_um in enumerate(exits_um) if exit_um > 0.0)
    steps_um = [after - before for before, after in pairwise(exits_um[pierced:])]
    assert exits_um[-1] >= 2.0 * GRID.radius_um
    assert all(-0.5 < step_um < 5.0 for step_um in steps_um)


def test_a_hole_that_is_not_through_passes_no_pin() -> None:
    """Before the tip pierces, no pin passes; the entry opens with the outermost ring."""
    hole = HoleTruth(GRID, 1000.0, 50.0)
    assert (hole.entry_diameter_um(), hole.exit_diameter_um(), hole.through) == (0.0, 0.0, False)
    hole.crater(GRID.count - 1, 1e5, 2)
    assert hole.entry_diameter_um() >= 1200.0
    assert hole.exit_diameter_um() == 0.0
