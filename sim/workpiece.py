"""A plate that lies anywhere on the table, turned and tilted: edges, bores, bosses, a window, touched from any side.

The plate has coordinates of its own: u and v in its face from one corner, w upward out of it. Its metal is a slab below
the face, minus bores and window, and a slab above it where bosses stand. The electrode is a cylinder, upright
or nearly so, with a cone (or none) at its end. Along the part of it that lies within a slab the distance to that slab's
outline changes evenly, so looking at the ends of that part is enough.

Convention of `gap_um`: how far metal is away from metal; above 0 free, 0 and below pressed together by as much.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import cos, hypot, inf, radians, sin, sqrt
from typing import Final

from controller.settings.units import UM_PER_MM
from sim.settings import Placed

# Beyond this height of free air nothing is near. Chosen.
FAR_UM: Final = 1e6

Vector = tuple[float, float, float]
_Outline = Callable[[float, float], float]


@dataclass(slots=True, frozen=True)
class Rod:
    """The electrode's end: radius where it is whole, length of its cone, radius of the flat at its very end (um).

    `lean` is how far its axis stands toward x and y for each unit of height.
    """

    radius_um: float
    cone_um: float
    flat_um: float
    lean: tuple[float, float] = (0.0, 0.0)

    def radius_at(self, height_um: float) -> float:
        """Radius at a height above the lowest point."""
        if height_um >= self.cone_um or self.cone_um <= 0.0:
            return self.radius_um
        return self.flat_um + (self.radius_um - self.flat_um) * max(height_um, 0.0) / self.cone_um


class Workpiece:
    """A plate where the plant says it lies.

    Args:
        plant: Its place, turn, tilt, size and features.
        thickness_um: Its thickness.
    """

    def __init__(self, plant: Placed, thickness_um: float) -> None:
        self._thickness_um = thickness_um
        x_mm, y_mm = plant.corner_mm
        self._origin = (x_mm * UM_PER_MM, y_mm * UM_PER_MM, plant.height_mm * UM_PER_MM)
        self._size_um = plant.size_mm[0] * UM_PER_MM, plant.size_mm[1] * UM_PER_MM
        self._window_um = tuple(side * UM_PER_MM for side in plant.window_mm)
        self._bores_um = [tuple(part * UM_PER_MM for part in bore) for bore in plant.bores_mm]
        self._bosses_um = [tuple(part * UM_PER_MM for part in boss) for boss in plant.bosses_mm]
        self._boss_um = plant.boss_height_mm * UM_PER_MM
        rise, towards_rad = plant.tilt_mm / 100.0, radians(plant.tilt_towards_deg)
        self.slope = (rise * cos(towards_rad), rise * sin(towards_rad))
        self._u, self._v, self._w = _axes(radians(plant.turned_deg), self.slope)

    def to_plate(self, x_um: float, y_um: float, z_um: float) -> Vector:
        """A place of the machine in the plate's own coordinates (um)."""
        d = (x_um - self._origin[0], y_um - self._origin[1], z_um - self._origin[2])
        return _dot(d, self._u), _dot(d, self._v), _dot(d, self._w)

    def on_face(self, u_um: float, v_um: float) -> Vector:
        """A place on the face in the machine frame (um)."""
        x, y, z = (o + u_um * u + v_um * v for o, u, v in zip(self._origin, self._u, self._v, strict=True))
        return x, y, z

    def face_um(self, x_um: float, y_um: float) -> float:
        """Height of the face's plane at a place of the table (um)."""
        return self._origin[2] + self.slope[0] * (x_um - self._origin[0]) + self.slope[1] * (y_um - self._origin[1])

    def drawn_um(self, x_um: float, y_um: float) -> tuple[float, float]:
        """The place on the face, in the plate's coordinates, above which an upright electrode stands (um)."""
        u, v, _ = self.to_plate(x_um, y_um, self.face_um(x_um, y_um))
        return u, v

    def covers(self, x_um: float, y_um: float) -> bool:
        """True when the plate's metal is below this place."""
        return self._below_face_um(*self.drawn_um(x_um, y_um)) <= 0.0

    def gap_um(self, x_um: float, y_um: float, tip_um: float, rod: Rod) -> float:
        """Distance between the metal of rod and plate, the rod's lowest point at `tip_um`."""
        gap_um = self._slab_gap_um(x_um, y_um, tip_um, rod, 0.0, self._thickness_um, self._below_face_um)
        if self._bosses_um:
            boss_um = self._slab_gap_um(x_um, y_um, tip_um, rod, self._boss_um, self._boss_um, self._above_face_um)
            gap_um = min(gap_um, boss_um)
        return gap_um

    def wet_um2(self, gap_um: float, x_um: float, y_um: float, tip_um: float, rod: Rod) -> float:
        """Area through which water at a wall conducts (um²): a strip of the rod as wide as the gap doubles over."""
        deep_um = min(max(self.face_um(x_um, y_um) - tip_um, 0.0), self._thickness_um)
        return 2.0 * sqrt(2.0 * rod.radius_um * max(gap_um, 0.01)) * deep_um

    def _slab_gap_um(
        self, x_um: float, y_um: float, tip_um: float, rod: Rod, top_um: float, deep_um: float, outline: _Outline
    ) -> float:
        """Gap to one slab between w = top - deep and w = top. Both up and sideways must be closed for contact."""
        lean = hypot(*self.slope)
        face_um = self.face_um(x_um, y_um) + top_um / self._w[2]
        # The flat at the end meets the face with its uphill rim first.
        above_um = tip_um - face_um - lean * rod.flat_um
        low_um, high_um = max(tip_um, face_um - deep_um / self._w[2]), max(tip_um, face_um)
        if low_um > high_um:
            return FAR_UM
        beside_um = inf
        for z_um in (low_um, min(max(tip_um + rod.cone_um, low_um), high_um), high_um):
            up_um = z_um - tip_um
            u, v, _ = self.to_plate(x_um + rod.lean[0] * up_um, y_um + rod.lean[1] * up_um, z_um)
            beside_um = min(beside_um, outline(u, v) - rod.radius_at(up_um))
        return max(above_um, beside_um)

    def _below_face_um(self, u: float, v: float) -> float:
        """Signed distance to the plate's outline in its own plane; below 0 in the metal."""
        distance_um = _rectangle_um(u, v, 0.0, 0.0, *self._size_um)
        if self._window_um[2] > self._window_um[0]:
            distance_um = max(distance_um, -_rectangle_um(u, v, *self._window_um))
        for bore_u, bore_v, diameter_um in self._bores_um:
            distance_um = max(distance_um, 0.5 * diameter_um - hypot(u - bore_u, v - bore_v))
        return distance_um

    def _above_face_um(self, u: float, v: float) -> float:
        """The same for what stands above the face."""
        return min(hypot(u - boss_u, v - boss_v) - 0.5 * wide_um for boss_u, boss_v, wide_um in self._bosses_um)


def _axes(turned_rad: float, slope: tuple[float, float]) -> tuple[Vector, Vector, Vector]:
    """Unit vectors of the plate: u in the face and, seen from above, along the turn; w out of the face; v = w × u."""
    up = sqrt(1.0 + slope[0] ** 2 + slope[1] ** 2)
    w = (-slope[0] / up, -slope[1] / up, 1.0 / up)
    c, s = cos(turned_rad), sin(turned_rad)
    rise = slope[0] * c + slope[1] * s
    long = sqrt(1.0 + rise * rise)
    u = (c / long, s / long, rise / long)
    v = (w[1] * u[2] - w[2] * u[1], w[2] * u[0] - w[0] * u[2], w[0] * u[1] - w[1] * u[0])
    return u, v, w


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _rectangle_um(u: float, v: float, left: float, low: float, right: float, high: float) -> float:
    """Signed distance to a rectangle, below 0 inside."""
    du = max(left - u, u - right)
    dv = max(low - v, v - high)
    return hypot(max(du, 0.0), max(dv, 0.0)) + min(max(du, dv), 0.0)
