"""The face of the work as touched: a plane, twisted where the touches show it, and how far the truth may be from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, hypot, sqrt
from typing import Final

from controller.core.fits import DEGENERATE, Plane, fit_plane

# What a plane through three touches can't show: how far the plate is bowed between them. 0.1 mm, chosen so that the
# start of an approach stays clear of a thin plate clamped at its rim (common practice, no source).
UNSEEN_BOW_MM: Final = 0.1
# What little bow many touches that agree leave to be found. Chosen: a tenth of a usual gap.
LEAST_BOW_MM: Final = 0.02
# A twist is believed when it is so many times its own standard uncertainty. Chosen: three.
SURE: Final = 3.0

Touch = tuple[float, float, float]


@dataclass(slots=True, frozen=True)
class Surface:
    """z = a + b·x + c·y + twist·(x - x0)·(y - y0) in machine mm: a plane, or a bilinear map when there is a twist.

    Attributes:
        a_mm, b, c: The plane.
        twist: Of a plate that rests on four points not in a plane, or is clamped askew (1/mm).
        x0_mm, y0_mm: The middle of the touches.
        largest_residual_mm: How far the worst touch lies beside it.
        u_mm: Standard uncertainty of the height anywhere on the work.
    """

    a_mm: float
    b: float
    c: float
    twist: float
    x0_mm: float
    y0_mm: float
    largest_residual_mm: float
    u_mm: float

    def at_mm(self, x_mm: float, y_mm: float) -> float:
        """Height of the face at a place, machine frame."""
        bent_mm = self.twist * (x_mm - self.x0_mm) * (y_mm - self.y0_mm)
        return self.a_mm + self.b * x_mm + self.c * y_mm + bent_mm

    def highest_mm(self, places: Sequence[tuple[float, float]]) -> float:
        """Greatest height over the places, expanded by twice the uncertainty."""
        return max(self.at_mm(x, y) for x, y in places) + 2.0 * self.u_mm


def fit_surface(points: Sequence[Touch], u_touch_mm: float) -> Surface:
    """The face from at least three touches (x, y, z in machine mm), each with standard uncertainty `u_touch_mm`.

    Raises:
        FitError: The touches lie in a line.
    """
    plane = _plane(points, u_touch_mm)
    x0, y0 = plane.x_centre, plane.y_centre
    twist, u_twist = _twist(points, plane, u_touch_mm)
    flat = [(x, y, z - twist * (x - x0) * (y - y0)) for x, y, z in points]
    plane = _plane(flat, u_touch_mm) if twist else plane
    residual_mm = max(abs(z - plane.at(x, y)) for x, y, z in flat)
    u_mm = max(hypot(plane.u_at(x, y), u_twist * (x - x0) * (y - y0)) for x, y, _ in points)
    freedom = plane.freedom - (1 if twist else 0)
    bow_mm = UNSEEN_BOW_MM if freedom < 2 else max(plane.residual_sd * u_touch_mm, LEAST_BOW_MM)
    return Surface(plane.at(0.0, 0.0), plane.slope_x, plane.slope_y, twist, x0, y0, residual_mm, hypot(u_mm, bow_mm))


def _plane(points: Sequence[Touch], u_touch_mm: float) -> Plane:
    xs, ys, zs = zip(*points, strict=True)
    return fit_plane(xs, ys, zs, [u_touch_mm] * len(points))


def _twist(points: Sequence[Touch], plane: Plane, u_touch_mm: float) -> tuple[float, float]:
    """The twist of the bilinear least-squares fit and its standard uncertainty; both 0 where it is not to be believed.

    What of a saddle (x - x0)·(y - y0) no plane can hold is held against what of the touches no plane holds (Frisch,
    Waugh & Lovell: a coefficient of a least-squares fit from residuals, from memory; tests compare with numpy).
    """
    if len(points) < 4:
        return 0.0, 0.0
    saddle = [(x, y, (x - plane.x_centre) * (y - plane.y_centre)) for x, y, _ in points]
    tilted = _plane(saddle, u_touch_mm)
    bare = [s - tilted.at(x, y) for x, y, s in saddle]
    square = fsum(each * each for each in bare)
    if square <= DEGENERATE * fsum(s * s for _, _, s in saddle):
        return 0.0, 0.0
    twist = fsum(each * (z - plane.at(x, y)) for each, (x, y, z) in zip(bare, points, strict=True)) / square
    u_twist = u_touch_mm / sqrt(square)
    return (twist, u_twist) if abs(twist) > SURE * u_twist else (0.0, 0.0)
