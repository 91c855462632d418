"""Circle, wall and plane fits against published values, to six digits where six are printed or follow.

Circles: Gander, Golub & Strebel 1994, BIT 34, 558-578. Plane: Montgomery & Runger's wire-bond set (memory;
recomputed). Lines by distance: Pearson's data (Phil. Mag. 1901) against the singular value decomposition of numpy.
"""

from __future__ import annotations

from math import atan2, cos, pi, sin

import numpy as np
import pytest

from controller.core.fits import FitError
from controller.core.fits_round import fit_circle, fit_wall

FIRST = ([1.0, 2.0, 5.0, 7.0, 9.0, 3.0], [7.0, 6.0, 8.0, 7.0, 5.0, 7.0])
SECOND = ([0.7, 3.3, 5.6, 7.5, 6.4, 4.4, 0.3, -1.1], [4.0, 4.7, 4.0, 1.3, -1.1, -3.0, -2.5, 1.3])
PEARSON = (
    [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4],
    [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5],
)


def test_the_first_published_circle() -> None:
    """Printed to five digits: centre (4.7398, 2.9835), radius 4.7142."""
    fit = fit_circle(*FIRST)
    assert (fit.x, fit.y, fit.radius) == pytest.approx((4.7398, 2.9835, 4.7142), abs=5e-5)


def test_the_second_published_circle_to_six_digits() -> None:
    """Geometric (3.04324, 0.74568), radius 4.10586 (recomputed)."""
    fit = fit_circle(*SECOND)
    assert (fit.x, fit.y, fit.radius) == pytest.approx((3.04324, 0.74568, 4.10586), abs=5e-6)


def test_pearsons_line_by_distance() -> None:
    """Against the singular value decomposition; the slope is the -0.5456 that is printed for this set (memory)."""
    line = fit_wall(*PEARSON)
    points = np.array(PEARSON).T
    _, _, rows = np.linalg.svd(points - points.mean(axis=0))
    assert line.uy / line.ux == pytest.approx(rows[0, 1] / rows[0, 0], rel=1e-10)
    assert line.uy / line.ux == pytest.approx(-0.5456, abs=5e-5)


@pytest.mark.parametrize("turn", [0.0, 0.3, pi / 4, 1.7, -2.9])
def test_a_line_and_a_circle_come_back_turned(turn: float) -> None:
    xs, ys = [3.0 + 7.0 * t * cos(turn) for t in (0, 1, 2)], [-2.0 + 7.0 * t * sin(turn) for t in (0, 1, 2)]
    line = fit_wall(xs, ys)
    assert atan2(sin(line.angle_rad - turn), cos(line.angle_rad - turn)) == pytest.approx(0.0, abs=1e-12)
    assert line.residual_sd == pytest.approx(0.0, abs=1e-9)
    angles = [turn + step for step in (0.0, 1.0, 2.5, 4.0)]
    fit = fit_circle([5.0 + 2.0 * cos(a) for a in angles], [1.0 + 2.0 * sin(a) for a in angles])
    assert (fit.x, fit.y, fit.radius) == pytest.approx((5.0, 1.0, 2.0), rel=1e-9)


def test_points_that_determine_nothing_are_refused() -> None:
    with pytest.raises(FitError, match="two places"):
        fit_wall([1.0, 1.0], [2.0, 2.0])
    with pytest.raises(FitError, match="on one line"):
        fit_circle([0.0, 1.0, 2.0], [0.0, 1.0, 2.0])
    with pytest.raises(FitError, match="three points"):
        fit_circle([0.0, 1.0], [0.0, 1.0])
    with pytest.raises(FitError, match="don't cross"):
        fit_wall([0.0, 1.0], [0.0, 0.0]).meets(fit_wall([0.0, 1.0], [1.0, 1.0]))
