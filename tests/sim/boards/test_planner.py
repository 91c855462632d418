"""The planner of the virtual boards: kinematics against the textbook, steps against what was asked."""

from __future__ import annotations

from math import sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.boards.planner import Limits, Planner, Steps, plus
from sim.boards.ramp import Ramp

LIMITS = Limits((80.0, 80.0, 400.0), (60.0, 60.0, 10.0), (500.0, 500.0, 300.0))
DELTAS = st.tuples(*(st.integers(-60, 60) for _ in range(3))).filter(any)


def planner(whole_moves: bool = False) -> Planner:
    ahead = 0 if whole_moves else 5
    return Planner(LIMITS, 15, 0.001 if whole_moves else 0.010, ahead, 30.0, whole_moves=whole_moves)


def test_a_short_ramp_is_a_triangle() -> None:
    # Uniform acceleration over half the way: t = 2 sqrt(s/a).
    ramp = Ramp(0.01, 0.0, 100.0, 0.0, 500.0)
    assert ramp.total_s == pytest.approx(2.0 * sqrt(0.01 / 500.0))
    assert ramp.way_mm(0.5 * ramp.total_s) == pytest.approx(0.005)


def test_a_long_ramp_is_a_trapezoid() -> None:
    # s/v plus one v/a for rise and fall together.
    assert Ramp(10.0, 0.0, 5.0, 0.0, 500.0).total_s == pytest.approx(10.0 / 5.0 + 5.0 / 500.0)


@given(st.floats(0.001, 10.0), st.floats(0.0, 5.0), st.floats(0.1, 20.0), st.floats(0.0, 5.0), st.floats(0.0, 1.0))
def test_time_and_way_of_a_ramp_agree(length: float, entry: float, nominal: float, leave: float, share: float) -> None:
    ramp = Ramp(length, entry, nominal, leave, 300.0)
    assert ramp.way_mm(ramp.time_s(share * length)) == pytest.approx(share * length, abs=1e-6)


@given(st.lists(DELTAS, min_size=1, max_size=8), st.booleans())
@settings(max_examples=60)
def test_all_steps_asked_for_are_done_and_none_else(deltas: list[Steps], whole_moves: bool) -> None:
    board = planner(whole_moves)
    wanted: Steps = (0, 0, 0)
    for delta in deltas:
        board.append(board.plan(delta, 5.0, 0.0))
        wanted = plus(wanted, delta)
    at_s, last = 0.0, board.steps
    while not board.empty:
        at_s += 0.0005
        board.run(at_s)
        # At 60 mm/s and 80 steps/mm no axis makes more than 4800 steps/s, 3 in half a millisecond.
        assert max(abs(new - old) for new, old in zip(board.steps, last, strict=True)) <= 3
        last = board.steps
    assert board.steps == wanted == board.planned


def test_collinear_moves_are_joined_at_speed_and_turns_are_not() -> None:
    def took_s(second: Steps) -> float:
        board = planner()
        board.append(board.plan((0, 0, 40), 5.0, 0.0))
        board.append(board.plan(second, 5.0, 0.0))
        at_s = 0.0
        while not board.empty:
            at_s += 0.0001
            board.run(at_s)
        return at_s

    # v = 5 mm/s, a = 300 mm/s²: 0.2 mm in one go, or twice 0.1 mm from standstill to standstill.
    assert took_s((0, 0, 40)) == pytest.approx(0.2 / 5.0 + 5.0 / 300.0, rel=0.05)
    assert took_s((0, 0, -40)) == pytest.approx(2.0 * (0.1 / 5.0 + 5.0 / 300.0), rel=0.05)


def test_a_hold_runs_what_is_prepared_and_brakes() -> None:
    board = planner()
    board.append(board.plan((0, 0, 4000), 5.0, 0.0))
    board.run(1.0)
    at = board.steps[2]
    board.hold()
    board.run(3.0)
    # Five segments of 10 ms and what is left of the running one at 5 mm/s, then v²/2a: 20 to 24 um a millisecond less.
    assert 0.050 * 5.0 * 400 - 2 <= board.steps[2] - at <= 0.060 * 5.0 * 400 + 25.0 / 600.0 * 400 + 2
    assert board.held
    board.resume()
    board.run(20.0)
    assert board.steps == (0, 0, 4000)


def test_a_drop_forgets_what_waits_and_keeps_the_count() -> None:
    board = planner()
    board.append(board.plan((0, 0, 4000), 5.0, 0.0))
    board.run(1.0)
    board.drop()
    at = board.steps
    board.run(5.0)
    assert board.steps == board.planned == at
    board.append(board.plan((0, 0, -at[2]), 5.0, 5.0))
    board.run(10.0)
    assert board.steps == (0, 0, 0)
