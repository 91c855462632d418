"""A block: a trapezoid of speed in whole steps, and what is left of it when it is cut."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.block import Block


def test_a_long_move_takes_the_time_of_its_trapezoid() -> None:
    # s/v + v/a, the time of a trapezoid of speed: common knowledge of kinematics.
    block = Block((0, 0, 0), (0, 0, -4000), 10_000.0, 10_000.0, 300_000.0, 1.0)
    assert block.end_s - block.start_s == pytest.approx(10.0 / 10.0 + 10.0 / 300.0)
    assert block.way_um(0.5 * (block.start_s + block.end_s)) == pytest.approx(5000.0)


def test_a_short_move_never_reaches_its_speed() -> None:
    # 2 sqrt(s/a), the time of a triangle of speed: common knowledge of kinematics.
    block = Block((0, 0, 0), (0, 0, -4), 10.0, 10_000.0, 300_000.0, 0.0)
    assert block.end_s == pytest.approx(2.0 * (0.010 / 300.0) ** 0.5)


def test_way_and_speed_agree_all_along_a_block() -> None:
    block = Block((0, 0, 0), (0, 0, 400), 1000.0, 5000.0, 300_000.0, 0.0)
    dt_s = 1e-6
    for n in range(1, 100):
        at_s = block.end_s * n / 100.0
        slope = (block.way_um(at_s + dt_s) - block.way_um(at_s - dt_s)) / (2.0 * dt_s)
        assert slope == pytest.approx(block.speed_um_s(at_s), rel=1e-2, abs=2.0)


@st.composite
def moves(draw: st.DrawFn) -> Block:
    """Any straight move of up to 20 mm at 400 steps/mm on z and 80 on x and y."""
    delta = draw(st.tuples(*[st.integers(-400, 400)] * 2, st.integers(-8000, 8000)).filter(any))
    length_um = sum((d * um) ** 2 for d, um in zip(delta, (12.5, 12.5, 2.5), strict=True)) ** 0.5
    speed_um_s = draw(st.floats(10.0, 60_000.0))
    return Block((10, -20, 30), delta, length_um, speed_um_s, draw(st.floats(10_000.0, 1e6)), 5.0)


@given(moves(), st.lists(st.floats(0.0, 1.0), min_size=2, max_size=20).map(sorted))
def test_steps_never_turn_back_and_never_leave_the_move(block: Block, shares: list[float]) -> None:
    ways = [block.at(block.start_s + share * (block.end_s - block.start_s)) for share in shares]
    for axis in (0, 1, 2):
        gone = [abs(way[axis] - block.start[axis]) for way in ways]
        assert gone == sorted(gone)
        assert gone[-1] <= abs(block.delta[axis])


@given(moves(), st.floats(0.0, 0.999))
def test_a_cut_move_brakes_within_its_way_and_goes_on_from_where_it_was(block: Block, share: float) -> None:
    at_s = block.start_s + share * (block.end_s - block.start_s)
    whole = [abs(d) for d in block.delta]
    start, before = block.start, block.at(at_s)
    brake = block.cut(at_s)
    assert block.final == before
    assert block.end_s == at_s
    if brake is not None:
        assert brake.start == before
        stood = [abs(f - s) for f, s in zip(brake.final, start, strict=True)]
        assert all(steps <= most for steps, most in zip(stood, whole, strict=True))
        assert brake.at(brake.end_s) == brake.final
