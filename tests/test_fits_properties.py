"""Properties of the fits: agreement with reference solvers, honesty of the uncertainties, refusals."""

from __future__ import annotations

from math import hypot, inf, sqrt

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from controller.core.fits import FitError, combined_u, effective_freedom, fit_line, fit_plane

places = st.floats(-200.0, 200.0)
heights = st.floats(-100.0, 100.0)
doubts = st.floats(0.001, 1.0)
line_points = st.lists(st.tuples(places, heights, doubts), min_size=4, max_size=12)
plane_points = st.lists(st.tuples(places, places, heights, doubts), min_size=5, max_size=12)


def spread(*columns: tuple[float, ...]) -> bool:
    """Whether the places determine the fit well enough for the reference solver to be a reference."""
    design = np.column_stack([np.ones(len(columns[0])), *columns])
    return bool(np.linalg.cond(design) < 1e5)


@given(line_points)
def test_a_weighted_line_is_that_of_scipy(points: list[tuple[float, float, float]]) -> None:
    """Height, slope and the full covariance agree with scipy's curve_fit for known uncertainties."""
    xs, ys, us = zip(*points, strict=True)
    assume(spread(xs))
    line = fit_line(xs, ys, us)
    design = np.column_stack([np.ones(len(xs)), xs])
    scaled = design / np.array(us)[:, None]
    covariance = np.linalg.inv(scaled.T @ scaled)
    best, *_ = np.linalg.lstsq(scaled, np.array(ys) / np.array(us), rcond=None)
    for x in (0.0, 300.0):
        row = np.array([1.0, x])
        assert line.at(x) == pytest.approx(row @ best, rel=1e-5, abs=1e-5)
        assert line.u_at(x) == pytest.approx(sqrt(row @ covariance @ row), rel=1e-5)


def test_an_unweighted_line_has_the_covariance_of_scipy() -> None:
    """Without known uncertainties the covariance is scaled by the scatter, as curve_fit does by default."""
    rng = np.random.default_rng(7)
    xs = [float(x) for x in range(9)]
    ys = [0.4 * x + rng.normal(0.0, 0.3) for x in xs]
    best, covariance = curve_fit(lambda x, a, b: a + b * x, np.array(xs), np.array(ys))
    line = fit_line(xs, ys)
    row = np.array([1.0, 20.0])
    assert line.at(20.0) == pytest.approx(row @ best, rel=1e-6)
    assert line.u_at(20.0) == pytest.approx(sqrt(row @ covariance @ row), rel=1e-5)


@given(plane_points)
def test_a_weighted_plane_is_that_of_the_normal_equations(points: list[tuple[float, float, float, float]]) -> None:
    """Height and its uncertainty anywhere agree with numpy's least squares."""
    xs, ys, zs, us = zip(*points, strict=True)
    assume(spread(xs, ys))
    plane = fit_plane(xs, ys, zs, us)
    scaled = np.column_stack([np.ones(len(xs)), xs, ys]) / np.array(us)[:, None]
    covariance = np.linalg.inv(scaled.T @ scaled)
    best, *_ = np.linalg.lstsq(scaled, np.array(zs) / np.array(us), rcond=None)
    for place in ((0.0, 0.0), (150.0, -80.0)):
        row = np.array([1.0, *place])
        assert plane.at(*place) == pytest.approx(row @ best, rel=1e-4, abs=1e-4)
        assert plane.u_at(*place) == pytest.approx(sqrt(row @ covariance @ row), rel=1e-4)


@given(st.lists(st.tuples(places, places), min_size=4, max_size=8), heights, st.floats(-0.1, 0.1), st.floats(-0.1, 0.1))
def test_points_on_a_plane_give_that_plane_back(where: list[tuple[float, float]], a: float, b: float, c: float) -> None:
    """Without scatter the plane is recovered, with nothing left over."""
    xs, ys = zip(*where, strict=True)
    assume(spread(xs, ys))
    plane = fit_plane(xs, ys, [a + b * x + c * y for x, y in where])
    assert plane.at(50.0, 50.0) == pytest.approx(a + 50.0 * (b + c), abs=1e-6)
    assert plane.largest_residual < 1e-6


@given(line_points, st.floats(-1000.0, 1000.0))
def test_moving_the_origin_changes_nothing(points: list[tuple[float, float, float]], shift: float) -> None:
    """Heights and uncertainties belong to places, not to the choice of origin."""
    xs, ys, us = zip(*points, strict=True)
    assume(spread(xs))
    here, there = fit_line(xs, ys, us), fit_line([x + shift for x in xs], ys, us)
    assert there.at(10.0 + shift) == pytest.approx(here.at(10.0), rel=1e-5, abs=1e-5)
    assert there.u_at(10.0 + shift) == pytest.approx(here.u_at(10.0), rel=1e-5)


@given(line_points, st.tuples(places, heights, doubts))
def test_one_more_point_never_makes_a_known_uncertainty_worse(
    points: list[tuple[float, float, float]], further: tuple[float, float, float]
) -> None:
    """With known uncertainties a further point can only help, wherever the line is read."""
    xs, ys, us = zip(*points, strict=True)
    assume(spread(xs))
    before = fit_line(xs, ys, us)
    after = fit_line([*xs, further[0]], [*ys, further[1]], [*us, further[2]])
    assert all(after.u_at(x) <= before.u_at(x) * (1 + 1e-6) for x in (-300.0, 0.0, 300.0))


def test_extrapolated_uncertainty_is_honest() -> None:
    """Over 2000 drawn data sets the error at a place beyond the points has the stated standard uncertainty.

    The sample standard deviation of 2000 normal scores has a standard error of 1/sqrt(4000) = 1.6 %; 4 of them allowed.
    """
    rng = np.random.default_rng(11)
    xs = [0.0, 1.0, 2.0, 4.0, 7.0]
    us = [0.02, 0.02, 0.05, 0.01, 0.02]
    scores = []
    for _ in range(2000):
        line = fit_line(xs, [45.0 - 0.2 * x + rng.normal(0.0, u) for x, u in zip(xs, us, strict=True)], us)
        scores.append((line.at(12.0) - (45.0 - 0.2 * 12.0)) / line.u_at(12.0))
    assert sqrt(sum(score**2 for score in scores) / len(scores)) == pytest.approx(1.0, abs=0.064)


def test_plane_uncertainty_is_honest_beyond_the_touches() -> None:
    """The same for a plane from four touches of unknown scatter, read at a corner not touched, over 2000 sets."""
    rng = np.random.default_rng(13)
    touches = [(2.0, 2.0), (118.0, 2.0), (60.0, 98.0), (60.0, 40.0)]
    xs, ys = zip(*touches, strict=True)
    errors, variances = [], []
    for _ in range(2000):
        plane = fit_plane(xs, ys, [-60.0 + 0.001 * x - 0.002 * y + rng.normal(0.0, 0.01) for x, y in touches])
        errors.append(plane.at(118.0, 98.0) - (-60.0 + 0.118 - 0.196))
        variances.append(plane.u_at(118.0, 98.0) ** 2)
    assert sum(e * e for e in errors) == pytest.approx(sum(variances), rel=0.15)


def test_residual_sd_with_known_uncertainties_is_a_pure_number_near_one() -> None:
    """The Birge ratio: right uncertainties give about 1, uncertainties a third too small about 3."""
    rng = np.random.default_rng(17)
    xs = [float(x) for x in range(200)]
    ys = [rng.normal(0.0, 0.03) for _ in xs]
    assert fit_line(xs, ys, [0.03] * 200).residual_sd == pytest.approx(1.0, abs=0.2)
    assert fit_line(xs, ys, [0.01] * 200).residual_sd == pytest.approx(3.0, abs=0.6)


def test_exactly_enough_points_give_a_fit_but_no_scatter() -> None:
    """Two points with known uncertainties make a line, three a plane; nothing is left over to judge them by."""
    line = fit_line([0.0, 10.0], [1.0, 3.0], [0.1, 0.1])
    assert (line.at(5.0), line.freedom, line.residual_sd) == (2.0, 0, 0.0)
    assert line.u_at(5.0) == pytest.approx(0.1 / sqrt(2.0))
    plane = fit_plane([0.0, 10.0, 0.0], [0.0, 0.0, 10.0], [1.0, 2.0, 3.0], [0.1] * 3)
    assert plane.at(10.0, 10.0) == pytest.approx(4.0)
    assert plane.u_at(10.0, 10.0) == pytest.approx(0.1 * sqrt(3.0))


def test_a_further_point_scatters_on_top_of_the_lines_own_uncertainty() -> None:
    """Predicting one new point adds its own scatter in quadrature."""
    line = fit_line([0.0, 10.0], [1.0, 3.0], [0.1, 0.1])
    assert line.u_next(30.0, 0.2) == pytest.approx(hypot(line.u_at(30.0), 0.2))


@pytest.mark.parametrize(
    ("xs", "ys", "us", "why"),
    [
        ([0.0, 1.0], [0.0, 1.0], None, "2 points given, 3 needed"),
        ([0.0], [0.0], [1.0], "1 points given, 2 needed"),
        ([5.0, 5.0, 5.0], [0.0, 1.0, 2.0], None, "two places"),
        ([0.0, 0.0, 0.0], [0.0, 1.0, 2.0], None, "two places"),
        ([0.0, 1.0, 2.0], [0.0, 1.0], None, "all its coordinates"),
        ([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], [1.0, 0.0, 1.0], "more than 0"),
    ],
)
def test_points_that_make_no_line_are_refused(
    xs: list[float], ys: list[float], us: list[float] | None, why: str
) -> None:
    """Too few, all at one place, incomplete, or with an impossible uncertainty."""
    with pytest.raises(FitError, match=why):
        fit_line(xs, ys, us)


@pytest.mark.parametrize(
    ("where", "us", "why"),
    [
        ([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)], None, "3 points given, 4 needed"),
        ([(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (3.0, 3.0)], None, "one line"),
        ([(0.1, 0.1), (0.1, 0.1), (0.1, 0.1), (0.1, 0.1)], None, "one line"),
        ([(0.1, 0.7), (0.2, 1.4), (0.3, 2.1)], [0.1] * 3, "one line"),
    ],
)
def test_points_that_make_no_plane_are_refused(
    where: list[tuple[float, float]], us: list[float] | None, why: str
) -> None:
    """Too few, or on one line, also when rounding hides it."""
    xs, ys = zip(*where, strict=True)
    with pytest.raises(FitError, match=why):
        fit_plane(xs, ys, [0.0] * len(where), us)


@given(st.lists(st.tuples(doubts, st.floats(1.0, 100.0)), min_size=1, max_size=6))
def test_effective_freedom_lies_between_the_least_and_the_sum(parts: list[tuple[float, float]]) -> None:
    """Never fewer degrees of freedom than the worst part has, nor more than all together (GUM G.4)."""
    freedoms = [freedom for _, freedom in parts]
    assert min(freedoms) * (1 - 1e-9) <= effective_freedom(parts) <= sum(freedoms) * (1 + 1e-9)


def test_exactly_known_parts_leave_the_freedom_to_the_others() -> None:
    """Parts known exactly add to the uncertainty but not to the doubt about it; no degrees of freedom is refused."""
    assert effective_freedom([(1.0, inf), (2.0, inf)]) == inf
    assert effective_freedom([(3.0, inf), (4.0, 8.0)]) == pytest.approx(8.0 * combined_u(3.0, 4.0) ** 4 / 4.0**4)
    with pytest.raises(ValueError, match="more than 0 degrees"):
        effective_freedom([(1.0, 0.0)])
