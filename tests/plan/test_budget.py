"""The budget of a job: ranges that follow from what is known and how well."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.controller import new_electrode
from controller.core.measuring import Measuring
from controller.core.rig import Setting
from controller.plan import budget as budgets
from controller.plan.budget import Budget, budget, hole_area_mm2, move_s, wear_mm
from controller.plan.build import build_plan
from controller.plan.overcut import Overcut
from controller.plan.ranges import Range
from controller.settings.job import Job, Rectangular
from controller.settings.machine import Holder, Machine, Source
from controller.settings.technology import Guess, Technology
from controller.workshop import assignment
from tests.plan.made import job, machine, technology

GAUGED = Overcut(0.15, 0.003, 0.004, 6)


def grid(columns: int, rows: int) -> list[Rectangular]:
    return [Rectangular(kind="rectangular", origin_mm=(6.0, 6.0), columns=columns, rows=rows, pitch_mm=4.0)]


def made(wanted: Job, host: Machine | None = None, pair: Technology | None = None, overcut: Overcut = GAUGED) -> Budget:
    host = host or machine()
    return budget(wanted, host, pair or technology(), build_plan(wanted, host), overcut)


def ordered(figure: Range) -> bool:
    return 0 <= figure.low <= figure.expected <= figure.high


def test_wear_of_a_hole_is_that_of_the_wear_table() -> None:
    """1.6 mm tool, 1.7 mm hole, 1 mm plate: references.md §2 (Yu, Masuzawa & Fujino 1998, memory; recomputed)."""
    wanted = job(electrode__diameter_mm=1.6, holes__diameter_mm=1.7)
    for volumetric, lost in ((0.05, 0.056445), (0.10, 0.112891), (0.20, 0.225781), (0.50, 0.564453)):
        assert wear_mm(wanted, volumetric, 0.05) == pytest.approx(lost, abs=5e-7)


def test_a_tube_leaves_its_slug_standing() -> None:
    wanted = job(electrode__form="tube", electrode__bore_mm=0.6)
    assert hole_area_mm2(wanted, 0.1) == pytest.approx(math.pi / 4 * (1.4**2 - 0.4**2))
    assert hole_area_mm2(wanted, 0.3) == pytest.approx(math.pi / 4 * 1.8**2)


def test_the_expected_figures_are_volume_over_removal_and_wear_times_holes() -> None:
    made_of = made(job(holes__pattern=grid(10, 10), electrode__length_mm=400.0))
    volume = 100 * math.pi / 4 * 1.5**2 * 1.0
    assert made_of.work_seconds.expected == pytest.approx(volume / 0.05)
    cone = 2 / 3 * 0.8 * 1.2
    assert made_of.electrode_mm.expected == pytest.approx(100 * 0.1 * (1.5 / 1.2) ** 2 - cone)


@given(st.integers(1, 10), st.integers(1, 8), st.floats(0.3, 4.0), st.floats(0.05, 0.3))
def test_every_range_is_in_order_and_time_holds_its_parts(
    columns: int, rows: int, thickness: float, overcut: float
) -> None:
    wanted = job(holes__pattern=grid(columns, rows), work__thickness_mm=thickness)
    of = made(wanted, overcut=Overcut(overcut, 0.02, 0.01, 0))
    for figure in (of.machine_seconds, of.work_seconds, of.electrode_mm, of.measurements, of.advances, of.rods):
        assert ordered(figure)
    assert of.machine_seconds.expected > of.work_seconds.expected
    assert of.measurements.low >= 2


def test_more_holes_do_not_make_a_common_doubt_smaller() -> None:
    """The doubt about removal is common to all holes: the eroding time's relative width hardly shrinks."""
    few, many = (made(job(holes__pattern=grid(n, n))).work_seconds for n in (3, 10))
    assert many.high / many.low == pytest.approx(few.high / few.low, rel=0.05)


def test_the_eroding_time_spans_what_the_removal_guess_spans() -> None:
    """A log-normal figure with relative uncertainty r spans exp(± 1.96 √ln(1 + r²)): 0.02/0.05 alone gives ± ×2.13."""
    sure = technology(removal_mm3_s=Guess(guess=0.05, u=0.02))
    of = made(job(holes__pattern=grid(10, 10)), pair=sure, overcut=Overcut(0.15, 1e-6, 1e-6, 99)).work_seconds
    assert of.high / of.expected == pytest.approx(math.exp(1.96 * math.sqrt(math.log1p(0.16))), rel=0.01)


@pytest.mark.parametrize(("holes", "advances"), [(100, 0), (200, 1), (320, 2)])
def test_advances_follow_from_the_length_used_and_the_room_of_the_holder(holes: int, advances: int) -> None:
    """15.6, 30.6 and 49.4 mm used, 22.6 mm to a fill of the holder: none, one, two advances (arithmetic)."""
    of = made(job(holes__pattern=grid(20, holes // 20)))
    assert of.advances.expected == advances


def test_a_holder_with_less_room_asks_for_more_advances() -> None:
    wanted = job(holes__pattern=grid(20, 16))
    assert made(wanted, machine(holder=Holder(min_protrusion_mm=35.0))).advances.expected == 5


def test_when_the_stock_may_not_last_the_reader_is_told_how_many_rods_to_have() -> None:
    of = made(job(holes__pattern=grid(20, 16), electrode__length_mm=60.0))
    assert of.rods.expected == 2
    assert "have 1 to 4 rods of 60 mm at hand" in of.notes


def test_a_technology_beyond_the_melting_point_law_is_called_optimistic() -> None:
    """Bound: 664·I/Tm^1.23 mm³/s (Groover, memory); at 1400 °C and 10 A 0.90 mm³/s (recomputed)."""
    of = made(job(), pair=technology(removal_mm3_s=Guess(guess=1.0, u=0.1)))
    assert of.notes[0] == (
        "the technology promises 1 mm³/s, more than the melting-point law allows at 10 A (0.90 mm³/s): "
        "expect longer times"
    )
    assert not made(job(), pair=technology(removal_mm3_s=Guess(guess=0.89, u=0.1))).notes


def test_a_weaker_source_has_a_lower_bound() -> None:
    pair = technology(removal_mm3_s=Guess(guess=0.5, u=0.1))
    assert not made(job(), pair=pair).notes
    assert made(job(), machine(source=Source(limit_a=5.0)), pair).notes


def test_a_guessed_overcut_is_called_a_guess() -> None:
    assert made(job(), overcut=Overcut(0.14, 0.025, 0.008, 0)).notes == (
        "the overcut is the technology's guess: gauge a first article to know it",
    )


def test_a_long_move_is_a_trapezoid_and_a_short_one_a_triangle() -> None:
    """2 mm at 10 mm/s is 0.2 s (references.md §4, jump duty); the ramps add v/a (kinematics)."""
    assert move_s(2.0, 10.0, 1e9) == pytest.approx(0.2)
    assert move_s(2.0, 10.0, 100.0) == pytest.approx(0.2 + 0.1)
    assert move_s(0.25, 10.0, 100.0) == pytest.approx(2 * math.sqrt(0.25 / 100.0))
    assert move_s(1.0, 10.0, 100.0) == pytest.approx(0.2)


@pytest.mark.parametrize("name", ["diffuser.toml", "endurance.toml"])
def test_as_many_measurements_are_foreseen_as_the_core_makes(name: str) -> None:
    """The core's own rule on a rod that wears as guessed, scatter included: inside the range, within half of it."""
    work = assignment(name, "virtual.toml", rehearsed=True)
    foreseen = budget(work.job, work.machine, work.technology, work.plan, work.belief.overcut)
    setting = Setting(work.machine, work.job, work.technology, work.plan, work.belief.overcut)
    rng, electrode, measuring = np.random.default_rng(6), new_electrode(setting), Measuring()
    wear_mm, true_mm, made = electrode.wear_mm, electrode.tip_mm, 2
    electrode.measured(true_mm, 0.008)
    for _ in work.plan.holes:
        if measuring.due(electrode.tip_u_mm):
            electrode.measured(true_mm, 0.008)
            measuring.measured(13.0)  # seconds: what one takes on the virtual machine
            made += 1
        measuring.begun(electrode.tip_u_mm)
        electrode.drilled(1.0)
        true_mm -= wear_mm * rng.normal(1.0, budgets.WEAR_SCATTER)
    made += round(foreseen.advances.expected)
    assert foreseen.measurements.low <= made <= foreseen.measurements.high
    assert made == pytest.approx(foreseen.measurements.expected, rel=0.5)


def test_independent_doubts_add_as_squares() -> None:
    """3-4-5 (Pythagoras), as independent uncertainties combine (GUM 5.1.2)."""
    assert Range(7.0, 10.0, 13.0) + Range(16.0, 20.0, 24.0) == Range(25.0, 30.0, 35.0)
