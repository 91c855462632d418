from __future__ import annotations

import pytest

from controller.plan.left import seconds_left
from controller.plan.ranges import Range

EXPECTED = Range(6000.0, 10000.0, 16000.0)


def test_before_the_first_hole_it_is_what_the_plan_expects() -> None:
    left = seconds_left(EXPECTED, 100, 0.0, [])
    assert left.expected == pytest.approx(10000.0)
    assert left.high - left.low == pytest.approx(10000.0, rel=0.01)


def test_a_job_that_runs_slower_than_planned_is_believed_ever_more() -> None:
    """200 s a hole instead of 100: after a few holes the rest is expected to go on like that, ever more surely."""
    lefts = [seconds_left(EXPECTED, 100, 200.0 * made, [190.0, 210.0] * (made // 2)) for made in (2, 10, 50)]
    per_hole = [left.expected / (100 - made) for left, made in zip(lefts, (2, 10, 50), strict=True)]
    assert per_hole == sorted(per_hole)
    assert per_hole[-1] == pytest.approx(200.0, rel=0.02)
    widths = [(left.high - left.low) / left.expected for left in lefts]
    assert widths == sorted(widths, reverse=True)


def test_nothing_is_left_of_a_job_that_is_done() -> None:
    assert seconds_left(EXPECTED, 2, 300.0, [100.0, 120.0]) == Range(0.0, 0.0, 0.0)


def test_the_range_of_a_steady_job_holds_the_rest() -> None:
    """Holes that scatter as planned, drawn by their mean: what is left lies inside what was said at half time."""
    seconds = [85.0, 115.0, 100.0, 92.0, 108.0] * 20
    said = seconds_left(EXPECTED, 100, sum(seconds[:50]), seconds[:50])
    assert said.low <= sum(seconds[50:]) <= said.high
