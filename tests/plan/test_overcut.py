"""What gauged holes teach of the overcut, and how sure of it one may be."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.plan.overcut import CARRIED_U_MM, Gauged, Overcut, learn_overcut
from controller.settings.technology import Guess

GUESS = Guess(guess=0.14, u=0.025)
ROD_MM = 1.2


def gauged(diameters: list[float], u_mm: float = 0.01) -> list[Gauged]:
    return [Gauged(number, diameter, u_mm, ROD_MM) for number, diameter in enumerate(diameters, 1)]


def test_without_gauged_holes_the_guess_stands() -> None:
    learned = learn_overcut(GUESS, [])
    assert (learned.mean_mm, learned.u_mm, learned.n) == (pytest.approx(0.14), pytest.approx(0.025), 0)
    assert learned.u_new_diameter_mm > 2 * GUESS.u


def test_one_sharply_gauged_hole_moves_the_mean_nearly_to_itself() -> None:
    learned = learn_overcut(GUESS, gauged([1.5], u_mm=0.001))
    assert learned.mean_mm == pytest.approx(0.15, abs=0.002)
    assert 0.001 < learned.u_mm < 0.012


def test_many_holes_approach_plain_statistics() -> None:
    """With many holes and a sharp gauge the prior fades: the sample's mean and scatter, u = s/√n (GUM 4.2)."""
    rng = np.random.default_rng(7)
    overcuts = rng.normal(0.155, 0.006, 200)
    learned = learn_overcut(GUESS, gauged((ROD_MM + 2 * overcuts).tolist(), u_mm=1e-4))
    assert learned.mean_mm == pytest.approx(statistics.fmean(overcuts), abs=2e-4)
    assert learned.scatter_mm == pytest.approx(statistics.stdev(overcuts), rel=0.05)
    assert learned.u_mm == pytest.approx(statistics.stdev(overcuts) / math.sqrt(200), rel=0.1)


def test_scatter_of_the_gauge_is_not_taken_for_scatter_of_the_holes() -> None:
    """Equal holes gauged to ± 0.02 mm look scattered by 0.01 mm a side; the belief keeps most of that to the gauge."""
    rng = np.random.default_rng(8)
    read = (1.5 + rng.normal(0.0, 0.02, 40)).tolist()
    blurred, sharp = learn_overcut(GUESS, gauged(read, 0.02)), learn_overcut(GUESS, gauged(read, 0.0001))
    assert sharp.scatter_mm == pytest.approx(statistics.stdev(read) / 2, rel=0.1)
    assert blurred.scatter_mm < 0.5 * sharp.scatter_mm


def test_a_larger_rod_with_the_same_overcut_teaches_the_same() -> None:
    same = [Gauged(1, 1.5, 0.01, 1.2), Gauged(2, 1.52, 0.01, 1.2)]
    larger = [Gauged(1, 1.9, 0.01, 1.6), Gauged(2, 1.92, 0.01, 1.6)]
    one, two = learn_overcut(GUESS, same), learn_overcut(GUESS, larger)
    assert (one.mean_mm, one.u_mm, one.scatter_mm) == pytest.approx((two.mean_mm, two.u_mm, two.scatter_mm))


@pytest.mark.parametrize("scatter", [0.002, 0.010])
@pytest.mark.parametrize("n", [2, 6])
def test_a_new_hole_lies_within_two_standard_uncertainties_nine_times_in_ten(scatter: float, n: int) -> None:
    """Coverage of ± 2u over first articles drawn around the guess, at the least 90 % whatever the scatter.

    0.85 leaves three standard errors of 200 draws below 90 % (binomial).
    """
    rng = np.random.default_rng(n)
    inside = 0
    for _ in range(200):
        mean = rng.normal(GUESS.guess, GUESS.u)
        read = ROD_MM + 2 * rng.normal(mean, scatter, n) + rng.normal(0.0, 0.01, n)
        learned = learn_overcut(GUESS, gauged(read.tolist()))
        new = ROD_MM + 2 * rng.normal(mean, scatter)
        inside += abs(new - ROD_MM - 2 * learned.mean_mm) <= 2 * learned.u_new_diameter_mm
    assert inside / 200 >= 0.85


@given(st.lists(st.floats(1.25, 2.0), max_size=8), st.floats(0.001, 0.05))
def test_the_mean_lies_between_the_guess_and_the_holes_and_is_surer_than_the_guess(
    diameters: list[float], u_mm: float
) -> None:
    learned = learn_overcut(GUESS, gauged(diameters, u_mm))
    all_of_them = [GUESS.guess, *((diameter - ROD_MM) / 2 for diameter in diameters)]
    assert min(all_of_them) - 1e-9 <= learned.mean_mm <= max(all_of_them) + 1e-9
    assert learned.u_mm > 0
    assert learned.scatter_mm >= 0
    assert learned.n == len(diameters)


@given(st.permutations([1.47, 1.5, 1.51, 1.49, 1.56]))
def test_the_order_of_gauging_makes_no_difference(diameters: list[float]) -> None:
    one, two = learn_overcut(GUESS, gauged(diameters)), learn_overcut(GUESS, gauged(sorted(diameters)))
    assert (one.mean_mm, one.u_mm, one.scatter_mm) == pytest.approx((two.mean_mm, two.u_mm, two.scatter_mm))


def test_taken_to_another_plate_the_same_mean_is_less_sure() -> None:
    here = Overcut(0.15, 0.003, 0.004, 6)
    there = here.carried()
    assert (there.mean_mm, there.scatter_mm, there.n) == (0.15, 0.004, 6)
    assert there.u_mm == pytest.approx(math.hypot(0.003, CARRIED_U_MM))


@pytest.mark.parametrize("hole", [Gauged(4, 1.2, 0.01, 1.2), Gauged(4, 1.5, 0.0, 1.2)])
def test_a_hole_that_cannot_be_is_refused_by_number(hole: Gauged) -> None:
    with pytest.raises(ValueError, match=r"hole 4: a diameter above the rod's 1\.2 mm and an uncertainty above 0"):
        learn_overcut(GUESS, [hole])
