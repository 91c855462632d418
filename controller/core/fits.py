"""Least-squares fits of a few points, with the uncertainty of what is read from them.

A line predicts the tip length from the holes drilled; a plane gives the height of the work from a few touches. Both
are read *between and beyond* the points, where slope and offset err together, so the uncertainty asked for is that of
the fitted height at a place, their covariance included (JCGM 100:2008, the GUM, H.3). Both are kept about the centre
of their points, where height and slope are uncorrelated and nothing cancels.

Two kinds of points, two kinds of uncertainty. Without `us` every point counts the same and the scatter about the fit
says how good the points are; that needs more points than the fit has coefficients. With `us`, the standard
uncertainty of every point, the points are weighted by 1/u**2 and the uncertainties come from `us` alone; then
`residual_sd` is a pure number that should be near 1 (the Birge ratio), and one well above 1 says that `us` were too
small or the form is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, hypot, inf, sqrt
from typing import Final

# Points nearer to one place (line) or one line (plane) than this share of their spread are refused as undetermined;
# chosen so that rounding in the normal equations (1e-16 of the squares) can't pass for a slope.
DEGENERATE: Final = 1e-12


class FitError(ValueError):
    """The points don't determine the fit."""


@dataclass(slots=True, frozen=True)
class Line:
    """A straight line y = y_centre + slope * (x - x_centre).

    Args:
        x_centre: Weighted mean of the points' x.
        y_centre: The line's height there.
        slope: Change of y per unit of x.
        u_centre: Standard uncertainty of y_centre.
        u_slope: Standard uncertainty of the slope; uncorrelated with that of y_centre.
        residual_sd: Standard deviation of the points about the line, n - 2 degrees of freedom, in y's unit; with
            known uncertainties the Birge ratio. Not a number of points left over: 0 degrees give 0.
        freedom: Degrees of freedom, n - 2.
        r_squared: Share of the points' scatter that the line explains, 0 to 1.
    """

    x_centre: float
    y_centre: float
    slope: float
    u_centre: float
    u_slope: float
    residual_sd: float
    freedom: int
    r_squared: float

    def at(self, x: float) -> float:
        """The line's height at x; at 0 the intercept."""
        return self.y_centre + self.slope * (x - self.x_centre)

    def u_at(self, x: float) -> float:
        """Standard uncertainty of the line's height at x, extrapolation and correlation included."""
        return hypot(self.u_centre, self.u_slope * (x - self.x_centre))

    def u_next(self, x: float, u_point: float) -> float:
        """Standard uncertainty of predicting one further point at x that itself scatters by `u_point`."""
        return hypot(self.u_at(x), u_point)

    def correlation_at(self, x: float) -> float:
        """Correlation of the height at x with the slope, -1 to 1."""
        return self.u_slope * (x - self.x_centre) / self.u_at(x)


@dataclass(slots=True, frozen=True)
class Plane:
    """A plane z = z_centre + slope_x * (x - x_centre) + slope_y * (y - y_centre).

    Args:
        x_centre: Weighted mean of the points' x.
        y_centre: Weighted mean of the points' y.
        z_centre: The plane's height there.
        slope_x: Change of z per unit of x.
        slope_y: Change of z per unit of y.
        u_centre: Standard uncertainty of z_centre; uncorrelated with those of the slopes.
        u_slope_x: Standard uncertainty of slope_x.
        u_slope_y: Standard uncertainty of slope_y.
        slope_covariance: Covariance of the two slopes.
        residual_sd: Standard deviation of the points about the plane, n - 3 degrees of freedom, in z's unit; with
            known uncertainties the Birge ratio. With 0 degrees of freedom it is 0.
        freedom: Degrees of freedom, n - 3.
        largest_residual: Largest distance of a point from the plane along z, in z's unit.
    """

    x_centre: float
    y_centre: float
    z_centre: float
    slope_x: float
    slope_y: float
    u_centre: float
    u_slope_x: float
    u_slope_y: float
    slope_covariance: float
    residual_sd: float
    freedom: int
    largest_residual: float

    def at(self, x: float, y: float) -> float:
        """The plane's height at a place; at (0, 0) the coefficient a of z = a + b*x + c*y."""
        return self.z_centre + self.slope_x * (x - self.x_centre) + self.slope_y * (y - self.y_centre)

    def u_at(self, x: float, y: float) -> float:
        """Standard uncertainty of the plane's height at a place, covariances included."""
        dx, dy = x - self.x_centre, y - self.y_centre
        tilt = (self.u_slope_x * dx) ** 2 + (self.u_slope_y * dy) ** 2 + 2.0 * self.slope_covariance * dx * dy
        return sqrt(self.u_centre**2 + max(0.0, tilt))


def fit_line(xs: Sequence[float], ys: Sequence[float], us: Sequence[float] | None = None) -> Line:
    """The least-squares line through the points (x, y).

    Args:
        xs: n places, exact.
        ys: n heights.
        us: n standard uncertainties of the heights, more than 0; None when unknown but the same for all.

    Raises:
        FitError: Fewer than 3 points (2 with `us`), all at one place, sequences of different length, or a u <= 0.
    """
    weights = _weights(len(xs), (len(ys),), us, coefficients=2)
    total = fsum(weights)
    x0, y0 = _mean(weights, xs, total), _mean(weights, ys, total)
    dxs, dys = [x - x0 for x in xs], [y - y0 for y in ys]
    sxx, sxy, syy = _dot(weights, dxs, dxs), _dot(weights, dxs, dys), _dot(weights, dys, dys)
    if sxx <= DEGENERATE * _dot(weights, xs, xs):
        raise FitError("a line needs points at two places at least")
    slope = sxy / sxx
    residuals = [dy - slope * dx for dx, dy in zip(dxs, dys, strict=True)]
    squares = _dot(weights, residuals, residuals)
    freedom = len(xs) - 2
    residual_sd = _sd(squares, freedom)
    unit_sd = residual_sd if us is None else 1.0
    return Line(
        x0,
        y0,
        slope,
        unit_sd / sqrt(total),
        unit_sd / sqrt(sxx),
        residual_sd,
        freedom,
        r_squared=1.0 - squares / syy if syy > 0 else 1.0,
    )


def fit_plane(
    xs: Sequence[float], ys: Sequence[float], zs: Sequence[float], us: Sequence[float] | None = None
) -> Plane:
    """The least-squares plane z = a + b*x + c*y through the points (x, y, z).

    Args:
        xs: n places, exact.
        ys: n places, exact.
        zs: n heights.
        us: n standard uncertainties of the heights, more than 0; None when unknown but the same for all.

    Raises:
        FitError: Fewer than 4 points (3 with `us`), all on one line, sequences of different length, or a u <= 0.
    """
    weights = _weights(len(xs), (len(ys), len(zs)), us, coefficients=3)
    total = fsum(weights)
    x0, y0, z0 = _mean(weights, xs, total), _mean(weights, ys, total), _mean(weights, zs, total)
    dxs, dys, dzs = [x - x0 for x in xs], [y - y0 for y in ys], [z - z0 for z in zs]
    sxx, syy, sxy = _dot(weights, dxs, dxs), _dot(weights, dys, dys), _dot(weights, dxs, dys)
    sxz, syz = _dot(weights, dxs, dzs), _dot(weights, dys, dzs)
    determinant = sxx * syy - sxy * sxy
    if determinant <= DEGENERATE * (sxx + syy) ** 2:
        raise FitError("a plane needs three points at least that don't lie on one line")
    b, c = (sxz * syy - syz * sxy) / determinant, (syz * sxx - sxz * sxy) / determinant
    residuals = [dz - b * dx - c * dy for dx, dy, dz in zip(dxs, dys, dzs, strict=True)]
    freedom = len(xs) - 3
    residual_sd = _sd(_dot(weights, residuals, residuals), freedom)
    unit_sd = residual_sd if us is None else 1.0
    return Plane(
        x0,
        y0,
        z0,
        b,
        c,
        unit_sd / sqrt(total),
        unit_sd * sqrt(syy / determinant),
        unit_sd * sqrt(sxx / determinant),
        -(unit_sd**2) * sxy / determinant,
        residual_sd,
        freedom,
        max(abs(residual) for residual in residuals),
    )


def combined_u(*us: float) -> float:
    """Standard uncertainty of a sum of independent parts: the root of their squares (GUM 5.1.2)."""
    return hypot(*us)


def effective_freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Degrees of freedom of a combined uncertainty, from (standard uncertainty, degrees of freedom) of its parts.

    The Welch-Satterthwaite formula (GUM G.4). Give `math.inf` for a part that is known exactly; the outcome is
    `math.inf` when every part with an uncertainty is.

    Raises:
        ValueError: A part with 0 degrees of freedom or fewer.
    """
    if any(freedom <= 0 for _, freedom in parts):
        raise ValueError("every part of a combined uncertainty needs more than 0 degrees of freedom")
    doubt = fsum(u**4 / freedom for u, freedom in parts)
    return combined_u(*(u for u, _ in parts)) ** 4 / doubt if doubt > 0 else inf


def _weights(n: int, others: tuple[int, ...], us: Sequence[float] | None, coefficients: int) -> list[float]:
    """Weights of n points, after checking that there are enough of them and of everything else as many."""
    if any(count != n for count in others) or (us is not None and len(us) != n):
        raise FitError("every point needs all its coordinates, and an uncertainty where any is given")
    needed = coefficients + (us is None)
    if n < needed:
        raise FitError(f"{n} points given, {needed} needed")
    if us is None:
        return [1.0] * n
    if any(u <= 0 for u in us):
        raise FitError("the standard uncertainty of a point must be more than 0")
    return [1.0 / (u * u) for u in us]


def _mean(weights: Sequence[float], xs: Sequence[float], total: float) -> float:
    return fsum(w * x for w, x in zip(weights, xs, strict=True)) / total


def _dot(weights: Sequence[float], xs: Sequence[float], ys: Sequence[float]) -> float:
    return fsum(w * x * y for w, x, y in zip(weights, xs, ys, strict=True))


def _sd(squares: float, freedom: int) -> float:
    return sqrt(squares / freedom) if freedom > 0 else 0.0
