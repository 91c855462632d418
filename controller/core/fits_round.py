"""Least-squares line and circle by distance: what a wall and a bore are, touched from any direction.

`fits.py` fits heights over exact places; here every point may be off in any direction, so what is made least is the sum
of squared distances from the line or circle itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, fsum, hypot, sin, sqrt
from typing import Final

from controller.core.fits import DEGENERATE, FitError

# A circle's step smaller than this share of its radius ends the search: beyond it only rounding changes. Chosen.
SETTLED: Final = 1e-14
STEPS_MOST: Final = 100


@dataclass(slots=True, frozen=True)
class WallLine:
    """A line in the plane: a point of it, its direction (unit), and the standard deviation of the points about it."""

    x: float
    y: float
    ux: float
    uy: float
    residual_sd: float

    @property
    def angle_rad(self) -> float:
        """Direction against x, in (-π, π]."""
        return atan2(self.uy, self.ux)

    def meets(self, other: WallLine) -> tuple[float, float]:
        """Where two lines cross; raises FitError when they are parallel."""
        determinant = self.ux * other.uy - self.uy * other.ux
        if abs(determinant) < 1e-6:
            raise FitError("two lines that don't cross")
        along = ((other.x - self.x) * other.uy - (other.y - self.y) * other.ux) / determinant
        return self.x + along * self.ux, self.y + along * self.uy


@dataclass(slots=True, frozen=True)
class RoundFit:
    """A circle: centre, radius, and the standard deviation of the points about it (n - 3 degrees of freedom)."""

    x: float
    y: float
    radius: float
    residual_sd: float


def fit_wall(xs: Sequence[float], ys: Sequence[float]) -> WallLine:
    """The line with the least squared distances from the points; raises FitError for fewer than two places.

    The direction is that from the first point toward the last.
    """
    if len(xs) < 2 or len(xs) != len(ys):
        raise FitError("a line needs points at two places at least")
    n = len(xs)
    x0, y0 = fsum(xs) / n, fsum(ys) / n
    sxx = fsum((x - x0) ** 2 for x in xs)
    syy = fsum((y - y0) ** 2 for y in ys)
    sxy = fsum((x - x0) * (y - y0) for x, y in zip(xs, ys, strict=True))
    if sxx + syy <= DEGENERATE * (x0 * x0 + y0 * y0 + 1.0):
        raise FitError("a line needs points at two places at least")
    angle = 0.5 * atan2(2.0 * sxy, sxx - syy)
    ux, uy = cos(angle), sin(angle)
    if ux * (xs[-1] - xs[0]) + uy * (ys[-1] - ys[0]) < 0.0:
        ux, uy = -ux, -uy
    squares = fsum(((y - y0) * ux - (x - x0) * uy) ** 2 for x, y in zip(xs, ys, strict=True))
    return WallLine(x0, y0, ux, uy, sqrt(squares / (n - 2)) if n > 2 else 0.0)


def fit_circle(xs: Sequence[float], ys: Sequence[float]) -> RoundFit:
    """The circle with the least squared distances from the points.

    Begun from a linear problem about the points' centre, then Gauss-Newton with steps halved while they don't help
    (Gander, Golub & Strebel 1994, BIT 34, 558-578).

    Raises:
        FitError: Fewer than three points, or all on one line.
    """
    if len(xs) < 3 or len(xs) != len(ys):
        raise FitError("a circle needs three points at least")
    x, y, radius = _algebraic(xs, ys)
    best = _squares(xs, ys, x, y, radius)
    for _ in range(STEPS_MOST):
        step = _step(xs, ys, x, y, radius)
        share = 1.0
        while share > 1e-6 and _squares(xs, ys, *_stepped((x, y, radius), step, share)) > best:
            share /= 2.0
        if share <= 1e-6:
            break
        x, y, radius = _stepped((x, y, radius), step, share)
        best = _squares(xs, ys, x, y, radius)
        if hypot(*step) < SETTLED * radius:
            break
    freedom = len(xs) - 3
    return RoundFit(x, y, radius, sqrt(best / freedom) if freedom else 0.0)


def _algebraic(xs: Sequence[float], ys: Sequence[float]) -> tuple[float, float, float]:
    """Circle from x² + y² = 2·x0·x + 2·y0·y + k by least squares, about the points' centre."""
    n = len(xs)
    mx, my = fsum(xs) / n, fsum(ys) / n
    us, vs = [x - mx for x in xs], [y - my for y in ys]
    suu, svv, suv = fsum(u * u for u in us), fsum(v * v for v in vs), fsum(u * v for u, v in zip(us, vs, strict=True))
    squares = [u * u + v * v for u, v in zip(us, vs, strict=True)]
    right_u = fsum(u * q for u, q in zip(us, squares, strict=True)) / 2.0
    right_v = fsum(v * q for v, q in zip(vs, squares, strict=True)) / 2.0
    determinant = suu * svv - suv * suv
    if determinant <= DEGENERATE * (suu + svv) ** 2:
        raise FitError("a circle needs three points that don't stand on one line")
    a, b = (right_u * svv - right_v * suv) / determinant, (right_v * suu - right_u * suv) / determinant
    return mx + a, my + b, sqrt(a * a + b * b + fsum(squares) / n)


def _squares(xs: Sequence[float], ys: Sequence[float], x: float, y: float, radius: float) -> float:
    return fsum((hypot(px - x, py - y) - radius) ** 2 for px, py in zip(xs, ys, strict=True))


def _stepped(
    circle: tuple[float, float, float], step: tuple[float, float, float], share: float
) -> tuple[float, float, float]:
    return circle[0] + share * step[0], circle[1] + share * step[1], circle[2] + share * step[2]


def _step(xs: Sequence[float], ys: Sequence[float], x: float, y: float, radius: float) -> tuple[float, float, float]:
    """Gauss-Newton step of (x, y, radius)."""
    cs, ss, es = [], [], []
    for px, py in zip(xs, ys, strict=True):
        distance = hypot(px - x, py - y) or 1e-300  # a point on the centre has no direction
        cs.append((px - x) / distance)
        ss.append((py - y) / distance)
        es.append(distance - radius)
    n = float(len(xs))
    sc, s_s = fsum(cs), fsum(ss)
    scc, sss = fsum(c * c for c in cs), fsum(s * s for s in ss)
    scs = fsum(c * s for c, s in zip(cs, ss, strict=True))
    rc = fsum(c * e for c, e in zip(cs, es, strict=True))
    rs = fsum(s * e for s, e in zip(ss, es, strict=True))
    re = fsum(es)
    return _solved(((scc, scs, sc), (scs, sss, s_s), (sc, s_s, n)), (rc, rs, re))


def _solved(
    m: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]],
    r: tuple[float, float, float],
) -> tuple[float, float, float]:
    """Cramer's rule for three unknowns; raises FitError without a solution."""
    (a, b, c), (d, e, f), (g, h, i) = m
    determinant = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    if abs(determinant) < 1e-300:
        raise FitError("the points don't determine a circle")
    p, q, s = r
    return (
        (p * (e * i - f * h) - b * (q * i - f * s) + c * (q * h - e * s)) / determinant,
        (a * (q * i - f * s) - p * (d * i - f * g) + c * (d * s - q * g)) / determinant,
        (a * (e * s - q * h) - b * (d * s - q * g) + p * (d * h - e * g)) / determinant,
    )
