"""The face of the work as touched: a plane, and how far the truth may be from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from controller.core.fits import fit_plane

# What a plane through three touches can't show: how far the plate is bowed between them. 0.1 mm, chosen so that the
# start of an approach stays clear of a thin plate clamped at its rim (common practice, no source).
UNSEEN_BOW_MM: Final = 0.1


@dataclass(slots=True, frozen=True)
class Surface:
    """Plane z = a + b·x + c·y (machine mm) with the largest residual of its touches and a standard uncertainty."""

    a_mm: float
    b: float
    c: float
    largest_residual_mm: float
    u_mm: float

    def at_mm(self, x_mm: float, y_mm: float) -> float:
        """Height of the face at a place, machine frame."""
        return self.a_mm + self.b * x_mm + self.c * y_mm

    def highest_mm(self, places: Sequence[tuple[float, float]]) -> float:
        """Greatest height over the places, expanded by twice the uncertainty."""
        return max(self.at_mm(x, y) for x, y in places) + 2.0 * self.u_mm


def fit_surface(points: Sequence[tuple[float, float, float]], u_touch_mm: float) -> Surface:
    """The face from at least three touches (x, y, z in machine mm), each with standard uncertainty `u_touch_mm`."""
    xs, ys, zs = zip(*points, strict=True)
    plane = fit_plane(xs, ys, zs, [u_touch_mm] * len(points))
    residual = max(abs(z - plane.at(x, y)) for x, y, z in points)
    u_mm = max(plane.u_at(x, y) for x, y, _ in points)
    bow = UNSEEN_BOW_MM if plane.freedom < 2 else max(plane.residual_sd * u_touch_mm, 0.02)
    return Surface(plane.at(0.0, 0.0), plane.slope_x, plane.slope_y, residual, (u_mm**2 + bow**2) ** 0.5)
