"""The face of the work from its touches."""

from __future__ import annotations

import numpy as np
import pytest

from controller.core.fits import FitError
from controller.core.surface import UNSEEN_BOW_MM, fit_surface

CORNERS = [(0.0, 0.0), (100.0, 0.0), (50.0, 80.0)]


def touched(places: list[tuple[float, float]], a: float, b: float, c: float) -> list[tuple[float, float, float]]:
    return [(x, y, a + b * x + c * y) for x, y in places]


def test_three_touches_give_their_plane() -> None:
    """A plane through three points meets them, and says nothing of the bow between them: that is allowed for."""
    surface = fit_surface(touched(CORNERS, -60.0, 0.003, -0.001), 0.005)
    assert (surface.a_mm, surface.b, surface.c) == pytest.approx((-60.0, 0.003, -0.001))
    assert surface.largest_residual_mm == pytest.approx(0.0, abs=1e-9)
    assert surface.at_mm(30.0, 20.0) == pytest.approx(-60.0 + 0.09 - 0.02)
    assert surface.u_mm > UNSEEN_BOW_MM


def test_many_touches_agree_with_least_squares() -> None:
    """With more touches than needed the plane is the least-squares one; reference: numpy.linalg.lstsq."""
    rng = np.random.default_rng(3)
    places = [(float(x), float(y)) for x in (0, 50, 100) for y in (0, 40, 80)]
    points = [(x, y, -60.0 + 0.002 * x + 0.001 * y + float(rng.normal(0.0, 0.004))) for x, y in places]
    surface = fit_surface(points, 0.005)
    matrix = np.array([[1.0, x, y] for x, y, _ in points])
    heights = np.array([z for _, _, z in points])
    expected = np.linalg.lstsq(matrix, heights, rcond=None)[0]
    assert (surface.a_mm, surface.b, surface.c) == pytest.approx(tuple(expected), abs=1e-9)
    assert surface.largest_residual_mm == pytest.approx(float(np.abs(heights - matrix @ expected).max()))


def test_a_twisted_plate_is_mapped_as_it_is() -> None:
    """Four corners not in a plane, and a middle: the bilinear least-squares map; reference: numpy.linalg.lstsq."""
    rng = np.random.default_rng(4)
    places = [(0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0), (60.0, 30.0), (20.0, 50.0)]
    points = [(x, y, -60.0 + 0.002 * x + 4e-5 * x * y + float(rng.normal(0.0, 0.003))) for x, y in places]
    surface = fit_surface(points, 0.005)
    matrix = np.array([[1.0, x, y, x * y] for x, y, _ in points])
    heights = np.array([z for _, _, z in points])
    expected = np.linalg.lstsq(matrix, heights, rcond=None)[0]
    assert surface.twist == pytest.approx(float(expected[3]), rel=1e-6)
    for x, y in ((10.0, 10.0), (90.0, 70.0), (50.0, 40.0)):
        assert surface.at_mm(x, y) == pytest.approx(float(np.dot(expected, [1.0, x, y, x * y])), abs=1e-9)
    assert surface.largest_residual_mm == pytest.approx(float(np.abs(heights - matrix @ expected).max()), abs=1e-9)


def test_a_twist_within_the_noise_of_the_touches_is_none() -> None:
    """Four touches off a plane by no more than they scatter give a plane; so do four in a cross, which show none."""
    square = [(0.0, 0.0, -60.0), (100.0, 0.0, -60.004), (100.0, 80.0, -60.0), (0.0, 80.0, -60.004)]
    assert fit_surface(square, 0.005).twist == 0.0
    cross = [(50.0, 0.0, -60.0), (50.0, 80.0, -60.1), (0.0, 40.0, -60.0), (100.0, 40.0, -60.1)]
    assert fit_surface(cross, 0.005).twist == 0.0


def test_a_bow_that_shows_makes_the_face_less_sure() -> None:
    """Touches that don't lie in a plane widen the uncertainty to about how far they miss it."""
    places = [(float(x), float(y)) for x in (0, 50, 100) for y in (0, 40, 80)]
    flat = fit_surface(touched(places, -60.0, 0.0, 0.0), 0.005)
    bowed = fit_surface([(x, y, -60.0 + 0.2 * (1 - ((x - 50) / 50) ** 2)) for x, y in places], 0.005)
    assert flat.u_mm < 0.03
    assert bowed.u_mm > 0.05


def test_the_highest_place_has_room_for_doubt() -> None:
    """The height to travel over is the highest hole's and two standard uncertainties."""
    surface = fit_surface(touched(CORNERS, -60.0, 0.01, 0.0), 0.005)
    assert surface.highest_mm([(0.0, 0.0), (100.0, 10.0)]) == pytest.approx(-59.0 + 2.0 * surface.u_mm)


def test_touches_in_a_line_are_no_face() -> None:
    """Three touches in one line leave the plane free to turn about it."""
    with pytest.raises(FitError):
        fit_surface([(0.0, 0.0, -60.0), (1.0, 1.0, -60.0), (2.0, 2.0, -60.0)], 0.005)
