"""When the electrode is measured: the rule against trying every interval."""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt

import pytest

from controller.core.measuring import UNSURE_MOST_MM, UNSURE_TIMES, Measuring
from controller.core.permissions import APPROACH_SPEED_UM_S

COST_S = 12.0


def due_after(unsure_mm: Callable[[int], float]) -> int:
    """Holes made before a measurement is due, the tip known so well before each."""
    measuring = Measuring()
    measuring.measured(COST_S)
    for holes in range(10_000):
        if measuring.due(unsure_mm(holes)):
            return holes
        measuring.begun(unsure_mm(holes))
    raise AssertionError("never due")


def mean_s(unsure_mm: Callable[[int], float], every: int) -> float:
    """What a hole loses on average when every so many holes one measures."""
    lost_s = sum(UNSURE_TIMES * unsure_mm(hole) * 1000.0 / APPROACH_SPEED_UM_S for hole in range(every))
    return (COST_S + lost_s) / every


@pytest.mark.parametrize(
    "unsure_mm",
    [
        lambda holes: 0.01 + 0.004 * holes,
        lambda holes: 0.005 + 0.02 * holes,
        lambda holes: 0.02 * sqrt(1.0 + holes**1.6),
        lambda holes: 0.1 + 0.001 * holes,
    ],
)
def test_no_other_interval_costs_less(unsure_mm: Callable[[int], float]) -> None:
    """Tried out: the mean loss of every interval up to 300 holes, computed from its definition."""
    chosen = due_after(unsure_mm)
    best = min(range(1, 300), key=lambda every: mean_s(unsure_mm, every))
    if unsure_mm(chosen) <= UNSURE_MOST_MM:
        assert mean_s(unsure_mm, chosen) <= 1.001 * mean_s(unsure_mm, best)
    else:
        assert chosen <= best


def test_a_tip_that_is_hardly_known_is_measured_whatever_it_costs() -> None:
    assert Measuring().due(2.0 * UNSURE_MOST_MM)


def test_a_tip_known_as_well_as_ever_is_left_alone() -> None:
    """Where not measuring costs nothing more, measuring never pays."""
    measuring = Measuring()
    measuring.measured(COST_S)
    for _ in range(1000):
        assert not measuring.due(0.01)
        measuring.begun(0.01)


def test_looking_ahead_says_when_it_will_be_due() -> None:
    """The number of holes foretold is the number made, and looking changes nothing."""
    measuring = Measuring()
    measuring.measured(COST_S)
    known = [0.01 + 0.006 * holes for holes in range(100)]
    made = 0
    while not measuring.due(known[made]):
        here = made
        assert (
            measuring.holes_left(lambda holes, here=here: known[here + int(holes)])
            == due_after(known.__getitem__) - made
        )
        measuring.begun(known[made])
        made += 1
    assert measuring.holes_left(lambda _holes: known[made]) == 0
