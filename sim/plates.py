"""The two plates: the work with its tilt and bow, the reference plate with what water leaves on it."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, exp, hypot, inf, pi, sin
from typing import Final

from controller.settings.units import UM_PER_MM

Ring = tuple[float, float]
S_PER_UM_PER_US_PER_CM: Final = 1e-10  # siemens a micrometre for one microsiemens a centimetre


class WorkPlate:
    """Where the work's face is.

    Args:
        height_um: Height of the face at the middle of the plate, without bow (um, machine frame).
        centre_um: Middle of the plate (um).
        half_um: Half of its length and width, along its own axes (um).
        turned_rad: How far its axes are turned against the machine's (rad).
        slope: Rise over run, 1.
        tilt_rad: Direction of the rise (rad).
        bow_um: How much the middle stands above the corners (um).
    """

    def __init__(
        self,
        height_um: float,
        centre_um: tuple[float, float],
        half_um: tuple[float, float],
        turned_rad: float,
        slope: float,
        tilt_rad: float,
        bow_um: float,
    ) -> None:
        self._height_um = height_um
        self._centre_um = centre_um
        self._half_um = half_um
        self._cos, self._sin = cos(turned_rad), sin(turned_rad)
        self._slope = slope * cos(tilt_rad), slope * sin(tilt_rad)
        self._bow_um = bow_um
        self._corner_um = hypot(*half_um)

    def lift(self, by_um: float) -> None:
        """It stands higher by this much from now on."""
        self._height_um += by_um

    def covers(self, x_um: float, y_um: float) -> bool:
        """True when the plate is below this place."""
        x, y = x_um - self._centre_um[0], y_um - self._centre_um[1]
        along, across = self._cos * x + self._sin * y, self._cos * y - self._sin * x
        return abs(along) <= self._half_um[0] and abs(across) <= self._half_um[1]

    def surface_um(self, x_um: float, y_um: float) -> float:
        """Height of the face at this place (um)."""
        x, y = x_um - self._centre_um[0], y_um - self._centre_um[1]
        from_middle = hypot(x, y) / self._corner_um
        bow_um = self._bow_um * (1.0 - from_middle * from_middle)
        return self._height_um + self._slope[0] * x + self._slope[1] * y + bow_um


class Film:
    """Water left behind once the jet stops: a film on the plates that drains, a drip on the tip that falls.

    Args:
        start_um: Film under the running jet (um).
        rest_um: What never drains, held by wetting (um).
        film_s: Time constant of draining (s).
        drip_um: Length of the drip that hangs from the tip (um).
        drip_s: How long it hangs (s).
    """

    __slots__ = (
        "_drip_s",
        "_drip_um",
        "_film_s",
        "_rest_um",
        "_running",
        "_start_um",
        "_stopped_s",
        "flood_um",
        "wetted",
    )

    def __init__(self, start_um: float, rest_um: float, film_s: float, drip_um: float, drip_s: float) -> None:
        self._start_um = start_um
        self._rest_um = rest_um
        self._film_s = film_s
        self._drip_um = drip_um
        self._drip_s = drip_s
        self._stopped_s = -inf
        self._running = False
        self.wetted = False
        self.flood_um = 0.0  # a fault: water stands on everything

    def run(self, flow: bool, now_s: float) -> None:
        """The jet runs from this moment, or stops."""
        if self._running and not flow:
            self._stopped_s = now_s
        self._running = flow
        self.wetted = self.wetted or flow

    def thickness_um(self, now_s: float) -> float:
        """Film on a plate (um)."""
        if self.flood_um:
            return self.flood_um
        if not self.wetted:
            return 0.0
        if self._running:
            return self._start_um
        return self._rest_um + (self._start_um - self._rest_um) * exp(-(now_s - self._stopped_s) / self._film_s)

    def reach_um(self, now_s: float) -> float:
        """The gap below which water joins tip and plate (um): film and drip together."""
        drips = self._running or now_s - self._stopped_s < self._drip_s
        return self.thickness_um(now_s) + (self._drip_um if drips else 0.0)


class ReferencePlate:
    """A grounded flat plate at a place and height of its own.

    Args:
        x_um: Middle, x (um).
        y_um: Middle, y (um).
        height_um: True height of its face (um).
        half_um: Half of its side (um).
    """

    def __init__(self, x_um: float, y_um: float, height_um: float, half_um: float) -> None:
        self._x_um = x_um
        self._y_um = y_um
        self._half_um = half_um
        self.height_um = height_um

    def covers(self, x_um: float, y_um: float) -> bool:
        """True when the plate is below this place."""
        return abs(x_um - self._x_um) <= self._half_um and abs(y_um - self._y_um) <= self._half_um


def leak_ohm(gap_um: float, reach_um: float, rings: Sequence[Ring], conductivity_us_cm: float) -> float:
    """Resistance of the water between a tip and a flat plate (ohm, inf when no water joins them).

    Every ring of the tip stands in its own column of water: R = g/(sigma·A), conductances add.

    Args:
        gap_um: Clear height below the lowest point of the tip (um, > 0).
        reach_um: Gap below which water joins them (um).
        rings: (height above the lowest point um, area um²) of the tip's rings, the lowest first or not.
        conductivity_us_cm: Conductivity of the water (uS/cm).
    """
    per_um = 0.0
    for height_um, area_um2 in rings:
        column_um = gap_um + height_um
        if column_um < reach_um:
            per_um += area_um2 / column_um
    if per_um == 0.0:
        return inf
    return 1.0 / (conductivity_us_cm * S_PER_UM_PER_US_PER_CM * per_um)


def wall_leak_ohm(gap_um: float, area_um2: float, conductivity_us_cm: float) -> float:
    """Resistance of the water between a rod's side and a wall: R = g/(sigma·A) (ohm, inf without an area)."""
    if area_um2 <= 0.0:
        return inf
    return gap_um / (conductivity_us_cm * S_PER_UM_PER_US_PER_CM * area_um2)


def ring_areas_um2(radius_um: float, count: int, bore_um: float = 0.0) -> list[float]:
    """Areas of `count` equally wide rings from the bore's radius to the rod's radius (um²)."""
    width_um = (radius_um - bore_um) / count
    return [pi * width_um * (2.0 * (bore_um + n * width_um) + width_um) for n in range(count)]


def job_box_um(
    points_mm: Sequence[tuple[float, float]], turned_rad: float, margin_mm: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Middle and half sides (um) of the box, turned by `turned_rad`, that holds all points with a margin."""
    c, s = cos(turned_rad), sin(turned_rad)
    along = [c * x + s * y for x, y in points_mm]
    across = [c * y - s * x for x, y in points_mm]
    a, b = 0.5 * (max(along) + min(along)), 0.5 * (max(across) + min(across))
    half_um = tuple(UM_PER_MM * (0.5 * (max(side) - min(side)) + margin_mm) for side in (along, across))
    return (UM_PER_MM * (c * a - s * b), UM_PER_MM * (s * a + c * b)), (half_um[0], half_um[1])
