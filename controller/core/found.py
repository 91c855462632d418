"""From contacts to what was found: plane, edge, corner, bore, boss, each with its uncertainty.

Pure geometry. A side contact says where the rod's middle stood when its side met a wall. The rim of the wall, where it
meets the face, is what a drawing means. Between the two lie: the lost motion of the axis (taken off contacts made
toward larger figures); the rod's radius; and the lean of a wall that stands square on a tilted face: below the rim it
stands out toward the rod by depth times slope, or back, where the rim itself is met.

Every uncertainty comes from `gum.propagate`: each contact's own, the lost motion of both axes, the rod's radius, the
slope of the face.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import atan2, degrees, hypot, sqrt
from statistics import fmean
from typing import Final

from controller.core.cycles.side import SideContact
from controller.core.fits import fit_plane
from controller.core.fits_round import WallLine, fit_circle, fit_wall
from controller.core.gum import Propagated, propagate
from controller.plan.frame import Frame
from controller.settings.job import Point
from controller.settings.units import MM_PER_M, UM_PER_MM

# Ground rods are 0 to 6 µm below their diameter (h6; common practice, no source): the middle, and an even spread.
UNDERSIZE_MM: Final = 0.003
RADIUS_U_MM: Final = 0.006 / 2.0 / sqrt(12.0)
# An axis that was not touched with: its play is known as the machine file knows it, evenly within 15 µm to either side
# (30 to 60 µm is usual on soft axes; common practice, no source).
PLAY_U_MM: Final = 0.015 / sqrt(3.0)


@dataclass(slots=True, frozen=True)
class FacePlane:
    """The face as touched: z = height at (x, y) + slope · distance (machine mm).

    Attributes:
        x_mm, y_mm: The middle of the touches.
        z_mm: Height there, `u_z_mm` its standard uncertainty (the tip's length in it).
        slope: Rise over the machine's x and y, mm per mm; `u_slope` their standard uncertainties.
        residual_mm: Largest distance of a touch from the plane.
        touches: How many there were; with three nothing is left over to judge the plane by.
        wet: Water was there.
    """

    x_mm: float
    y_mm: float
    z_mm: float
    u_z_mm: float
    slope: tuple[float, float]
    u_slope: tuple[float, float]
    residual_mm: float
    touches: int
    wet: bool

    def at_mm(self, x_mm: float, y_mm: float) -> float:
        """Height of the face at a place."""
        return self.z_mm + self.slope[0] * (x_mm - self.x_mm) + self.slope[1] * (y_mm - self.y_mm)


@dataclass(slots=True, frozen=True)
class Side:
    """What walls are solved with, beside the contacts.

    Attributes:
        face: The plane of the face.
        rod_mm: The electrode's nominal diameter.
        tip_mm: Its length.
        cone_mm: How much of its end is not yet full.
        thickness_mm: How far down walls reach.
        above_mm: How far above the face the rim stands (a boss), else 0.
        play_mm: The play of x and y by the machine file.
    """

    face: FacePlane
    rod_mm: float
    tip_mm: float
    cone_mm: float
    thickness_mm: float
    play_mm: tuple[float, float]
    above_mm: float = 0.0

    @property
    def radius_mm(self) -> float:
        """The rod's radius as it is expected to be."""
        return (self.rod_mm - UNDERSIZE_MM) / 2.0


@dataclass(slots=True, frozen=True)
class Edge:
    """A straight rim: a place on it, its direction seen from above, and how well both are known (k = 1)."""

    x_mm: float
    y_mm: float
    angle_deg: float
    u_across_mm: float
    u_angle_deg: float
    residual_mm: float
    lost_mm: tuple[float, float]
    wet: bool


@dataclass(slots=True, frozen=True)
class Corner:
    """Where two rims meet, and the direction of the first (k = 1)."""

    x_mm: float
    y_mm: float
    u_x_mm: float
    u_y_mm: float
    angle_deg: float
    u_angle_deg: float
    square_deg: float
    lost_mm: tuple[float, float]
    wet: bool


@dataclass(slots=True, frozen=True)
class Round:
    """A bore or a boss: its middle on the face, seen from above, and its diameter (k = 1)."""

    x_mm: float
    y_mm: float
    u_x_mm: float
    u_y_mm: float
    diameter_mm: float
    u_diameter_mm: float
    residual_mm: float
    lost_mm: tuple[float, float]
    wet: bool


@dataclass(slots=True, frozen=True)
class _Given:
    """One set of inputs: rod middles (mm) with their depths, radius and slope."""

    centres: tuple[Point, ...]
    toward: tuple[Point, ...]
    deep_mm: tuple[float, ...]
    radius_mm: float
    slope: Point


def find_plane(
    touches: Sequence[tuple[float, float, float]], u_touch_mm: float, u_tip_mm: float, flat_mm: float, wet: bool
) -> FacePlane:
    """The face from touches of the tip (x, y, z of the lowest point, machine mm).

    Args:
        touches: Three or more, not on one line.
        u_touch_mm: Standard uncertainty of one touch by itself.
        u_tip_mm: Standard uncertainty of the tip's length, which all share.
        flat_mm: Radius of the flat at the tip: on a slope its uphill rim touches first.
        wet: Water was between.
    """
    xs, ys, zs = (list(column) for column in zip(*touches, strict=True))
    x0, y0 = fmean(xs), fmean(ys)

    def solved(heights: Sequence[float]) -> tuple[float, float, float]:
        plane = fit_plane(xs, ys, heights, [u_touch_mm] * len(heights))
        early = flat_mm * hypot(plane.slope_x, plane.slope_y)
        return plane.at(x0, y0) - early, plane.slope_x, plane.slope_y

    found = propagate(solved, zs, [u_touch_mm] * len(zs))
    z, b, c = found.means
    plane = fit_plane(xs, ys, zs, [u_touch_mm] * len(zs))
    # What a worn end is like is not known: evenly between a point and a flat.
    u_flat = flat_mm * hypot(b, c) / sqrt(12.0) if flat_mm else 0.0
    u_z = hypot(found.u(0), u_tip_mm, u_flat / 2.0)
    return FacePlane(x0, y0, z, u_z, (b, c), (found.u(1), found.u(2)), plane.largest_residual, len(touches), wet)


def find_edge(contacts: Sequence[SideContact], side: Side) -> Edge:
    """A rim from two contacts or more along one wall."""

    def solved(given: _Given) -> tuple[float, float, float]:
        rim = _rim(given)
        return rim.x, rim.y, degrees(rim.angle_rad)

    found = _propagated(contacts, side, solved)
    x, y, angle = found.means
    rim = _rim(_given(contacts, side, _lost(contacts, side)))
    across = found.u_along((-rim.uy, rim.ux))
    return Edge(x, y, angle, across, found.u(2), rim.residual_sd, _lost(contacts, side), _wet(contacts))


def find_corner(first: Sequence[SideContact], second: Sequence[SideContact], side: Side) -> Corner:
    """The corner of two walls, each from two contacts or more; the angle is that of the first."""
    count = len(first)

    def solved(given: _Given) -> tuple[float, float, float, float]:
        one, two = _rim(_part(given, 0, count)), _rim(_part(given, count, len(given.centres)))
        x, y = one.meets(two)
        between = atan2(one.ux * two.uy - one.uy * two.ux, one.ux * two.ux + one.uy * two.uy)
        return x, y, degrees(one.angle_rad), degrees(between)

    together = [*first, *second]
    found = _propagated(together, side, solved)
    x, y, angle, between = found.means
    return Corner(x, y, found.u(0), found.u(1), angle, found.u(2), between, _lost(together, side), _wet(together))


def find_round(contacts: Sequence[SideContact], side: Side, *, inside: bool) -> Round:
    """A bore (`inside`) or a boss from four contacts or more around it."""

    def solved(given: _Given) -> tuple[float, float, float]:
        x, y, diameter, _ = _circle(given, side, inside=inside)
        return x, y, diameter

    found = _propagated(contacts, side, solved)
    x, y, diameter = found.means
    *_, residual = _circle(_given(contacts, side, _lost(contacts, side)), side, inside=inside)
    u_x, u_y, u_diameter = (found.u(place) for place in range(3))
    return Round(x, y, u_x, u_y, diameter, u_diameter, residual, _lost(contacts, side), _wet(contacts))


def _rim(given: _Given) -> WallLine:
    """The rim's line from the rod's middles along one wall."""
    line = fit_wall([x for x, _ in given.centres], [y for _, y in given.centres])
    nx, ny = -line.uy, line.ux
    if nx * given.toward[0][0] + ny * given.toward[0][1] > 0.0:  # from the wall toward the rod
        nx, ny = -nx, -ny
    lean = max(0.0, given.slope[0] * nx + given.slope[1] * ny) * fmean(given.deep_mm)
    off = given.radius_mm + lean
    return replace(line, x=line.x - nx * off, y=line.y - ny * off)


def _circle(given: _Given, side: Side, *, inside: bool) -> tuple[float, float, float, float]:
    """Middle on the face (machine x, y), diameter and residual of a bore or boss."""
    about = fit_circle([x for x, _ in given.centres], [y for _, y in given.centres])
    rims: list[Point] = []
    flat = Frame((0.0, 0.0), 0.0, given.slope)
    for (x, y), deep in zip(given.centres, given.deep_mm, strict=True):
        away = hypot(x - about.x, y - about.y)
        mx, my = (x - about.x) / away, (y - about.y) / away
        if not inside:
            mx, my = -mx, -my  # toward the wall
        lean = max(0.0, -(given.slope[0] * mx + given.slope[1] * my)) * deep
        rims.append(flat.to_job((x + mx * (given.radius_mm + lean), y + my * (given.radius_mm + lean))))
    circle = fit_circle([x for x, _ in rims], [y for _, y in rims])
    x, y = flat.to_machine((circle.x, circle.y))
    # A boss was touched at its top; on the face its axis stands where the slope leads down to.
    down = side.above_mm / sqrt(1.0 + given.slope[0] ** 2 + given.slope[1] ** 2)
    return x + down * given.slope[0], y + down * given.slope[1], 2.0 * circle.radius, circle.residual_sd


def _part(given: _Given, start: int, end: int) -> _Given:
    return replace(
        given, centres=given.centres[start:end], toward=given.toward[start:end], deep_mm=given.deep_mm[start:end]
    )


def _propagated(contacts: Sequence[SideContact], side: Side, solved: Callable[[_Given], Sequence[float]]) -> Propagated:
    """Run a solution through everything that may be off.

    Contact and release of each touch are inputs of their own: the lost motion is their difference, so a step that a
    contact fell late in makes both the place and the play too large, and the two must not be counted as independent.
    """
    n = len(contacts)
    touched = {contact.side.axis for contact in contacts}
    each = [contact.u_um / UM_PER_MM for contact in contacts]
    play_us = [0.0 if axis in touched else PLAY_U_MM for axis in (0, 1)]
    us = [*each, *each, *play_us, RADIUS_U_MM, *side.face.u_slope]

    def outcome(off: Sequence[float]) -> Sequence[float]:
        moved, released = off[:n], off[n : 2 * n]
        play_x, play_y, radius, rise_x, rise_y = off[2 * n :]
        longer = [c.side.sign * (m - r) for c, m, r in zip(contacts, moved, released, strict=True)]
        lost = _lost(contacts, side, longer)
        given = _given(contacts, side, (lost[0] + play_x, lost[1] + play_y), moved)
        slope = (given.slope[0] + rise_x, given.slope[1] + rise_y)
        return solved(replace(given, radius_mm=given.radius_mm + radius, slope=slope))

    return propagate(outcome, [0.0] * len(us), us)


def _given(
    contacts: Sequence[SideContact], side: Side, lost_mm: Point, moved_mm: Sequence[float] | None = None
) -> _Given:
    """The inputs of a solution: contacts with lost motion taken off, and how deep below the rim each may have met."""
    centres, toward, deep = [], [], []
    for contact, moved in zip(contacts, moved_mm or [0.0] * len(contacts), strict=True):
        place = [contact.x_um / UM_PER_MM, contact.y_um / UM_PER_MM]
        axis, sign = contact.side.axis, contact.side.sign
        place[axis] += moved - (lost_mm[axis] if sign > 0 else 0.0)
        centres.append((place[0], place[1]))
        toward.append((float(sign), 0.0) if axis == 0 else (0.0, float(sign)))
        rim_mm = side.face.at_mm(*centres[-1]) + side.above_mm
        below = rim_mm - (contact.z_um / UM_PER_MM - side.tip_mm) - side.cone_mm
        deep.append(min(max(below, 0.0), side.thickness_mm))
    return _Given(tuple(centres), tuple(toward), tuple(deep), side.radius_mm, side.face.slope)


def _lost(contacts: Sequence[SideContact], side: Side, longer_mm: Sequence[float] | None = None) -> tuple[float, float]:
    """Lost motion of x and y (mm): the mean of what the contacts showed, or the machine file's."""
    shown = [
        (contact.side.axis, contact.lost_um / UM_PER_MM + longer)
        for contact, longer in zip(contacts, longer_mm or [0.0] * len(contacts), strict=True)
    ]
    x, y = (
        fmean([lost for at, lost in shown if at == axis] or [believed])
        for axis, believed in zip((0, 1), side.play_mm, strict=True)
    )
    return x, y


def _wet(contacts: Sequence[SideContact]) -> bool:
    return any(contact.wet for contact in contacts)


def slope_mm_m(face: FacePlane) -> tuple[float, float]:
    """The slope as the machine file states it."""
    return face.slope[0] * MM_PER_M, face.slope[1] * MM_PER_M
