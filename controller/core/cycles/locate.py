"""Finding the work by touching: the plane of its face, an edge, a corner, a bore, a boss.

Each begins from a rough place with its uncertainty and comes nearer with every contact. The face is touched first, so
that what follows knows how deep the tip stands below a rim. Going down beside the work happens on the sensing path at
touch speed: where metal is met, the place was wrong, and that is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, degrees, hypot, radians, sin, sqrt, tan
from typing import Final

from controller.core.cycles.measure import TILT_ROOM_MM, measure, sense_water
from controller.core.cycles.side import ROUGH_UM, STICK_UM, SideContact, touch_side
from controller.core.cycles.side import Side as Toward
from controller.core.cycles.touch import feel_down, touch_down
from controller.core.cycles.travel import lower, reference, rise, travel
from controller.core.cycles.wait import drip
from controller.core.fits_round import fit_wall
from controller.core.found import Corner, Edge, FacePlane, Round, Side, find_corner, find_edge, find_plane, find_round
from controller.core.rig import Bench, Cycle, Trip
from controller.plan.frame import Frame
from controller.settings.job import Point
from controller.settings.units import UM_PER_MM

# Steepest face that is expected while nothing is known of it: more than 3°, in mm per mm. Chosen.
STEEPEST: Final = 0.06
# Room above a face whose height is known from touches, and beside a wall whose place is. Chosen.
NEAR_MM: Final = 0.7
# How far below the rim the full rod stands when it touches a wall: a chamfer or burr is passed. Chosen.
BELOW_RIM_MM: Final = 0.4
# The second contact on a wall tells its direction to a tenth of a millimetre over this; later ones can be far. Chosen.
SECOND_MM: Final = 10.0
# What is then still unknown of the direction, as a share of the distance. Chosen: 20 µm over 10 mm, ten times over.
SURE_TURN: Final = 0.02
# Where on a bore's or boss's wall it is touched beside the middle, as a share of the radius. Chosen: within 45° of the
# axis that moves, far enough for eight directions.
BESIDE: Final = 0.5


@dataclass(slots=True, frozen=True)
class About:
    """What is known beforehand.

    Attributes:
        frame: Where the job's frame is believed to be.
        place_u_mm: How far that may be off, at the most.
        turn_u_deg: How far its rotation may be off, at the most.
        thickness_mm: Of the plate.
        touch_points_mm: Where the face may be touched (job frame).
        span_mm: How far along the two edges from the corner a wall may be touched.
    """

    frame: Frame
    place_u_mm: float
    turn_u_deg: float
    thickness_mm: float
    touch_points_mm: tuple[Point, ...]
    span_mm: tuple[float, float]


def make_ready(bench: Bench) -> Cycle[None]:
    """Axes referenced, electrode measured on the reference plate."""
    if not bench.sense.seen.homed:
        yield from reference(bench)
    yield from measure(bench)


def locate_plane(bench: Bench, about: About) -> Cycle[FacePlane]:
    """Touch the face at every touch point. Raises Trip as `touch_down`."""
    place = bench.machine.work_place
    touches: list[tuple[float, float, float]] = []
    spreads: list[float] = []
    wet = False
    for number, point in enumerate(about.touch_points_mm, 1):
        bench.say(f"Touching the face: {number} of {len(about.touch_points_mm)}")
        x_mm, y_mm = about.frame.to_machine(point)
        yield from travel(bench, x_mm, y_mm)
        if number == 1:
            yield from drip(bench)
        expected_mm, unsure_mm = place.surface_height_mm, 3.0 * place.surface_height_u_mm
        room_mm = unsure_mm + TILT_ROOM_MM
        if touches:
            nearest = min(touches, key=lambda touch: hypot(touch[0] - x_mm, touch[1] - y_mm))
            expected_mm = nearest[2]
            room_mm = unsure_mm = STEEPEST * hypot(nearest[0] - x_mm, nearest[1] - y_mm) + NEAR_MM
        axis_mm = expected_mm + bench.electrode.tip_mm
        yield from lower(bench, (axis_mm + room_mm) * UM_PER_MM)
        contact = yield from touch_down(bench, axis_mm * UM_PER_MM, (unsure_mm + 1.0) * UM_PER_MM, "the work")
        sense_water(bench)
        touches.append((x_mm, y_mm, contact.z_um / UM_PER_MM - bench.electrode.tip_mm))
        spreads.append(contact.spread_um)
        wet = wet or contact.wet
        yield from rise(bench)
    return find_plane(touches, _u_touch_mm(bench, spreads), _u_tip_mm(bench), _flat_mm(bench), wet)


def _u_touch_mm(bench: Bench, spreads_um: Sequence[float]) -> float:
    """One downward touch by itself: the step it fell in, and its scatter, as is usual or as the repeats showed."""
    step_um = bench.machine.useful_move_um
    usual_u = hypot(STICK_UM / sqrt(12.0), ROUGH_UM / sqrt(2.0))
    shown_u = sqrt(sum(spread * spread for spread in spreads_um) / len(spreads_um)) / 2.0
    return hypot(step_um / sqrt(12.0), max(usual_u, shown_u)) / UM_PER_MM


def _u_tip_mm(bench: Bench) -> float:
    return bench.electrode.tip_u_mm


def _flat_mm(bench: Bench) -> float:
    """Radius of the flat at the tip: all of a fresh rod, nothing of a worn one."""
    return bench.rod_mm / 2.0 if bench.electrode.cone_mm <= 0.0 else 0.0


def locate_corner(bench: Bench, about: About, face: FacePlane, at: Point, *, inside: bool) -> Cycle[Corner]:
    """Touch both walls of a corner, the first along the job's x, the second along its y; three contacts each.

    Outside, the plate lies between the two; inside (a pocket or window), everything but what lies between.
    """
    side = _side(bench, about, face)
    first = yield from _wall(bench, about, side, at, 0, inside=inside)
    turned = _turned(about, first)
    second = yield from _wall(bench, turned, side, at, 1, inside=inside)
    return find_corner(first, second, side)


def locate_edge(bench: Bench, about: About, face: FacePlane, at: Point, along: int) -> Cycle[Edge]:
    """Touch one straight edge of the plate that runs along the job's x (0) or y (1)."""
    side = _side(bench, about, face)
    contacts = yield from _wall(bench, about, side, at, along, inside=False)
    return find_edge(contacts, side)


def locate_round(
    bench: Bench, about: About, face: FacePlane, at: Point, diameter_mm: float, above_mm: float | None
) -> Cycle[Round]:
    """Touch a bore, or a boss that stands `above_mm` above the face, from eight directions.

    Four contacts find the middle, four more beside it. Raises Trip when the rod doesn't fit.
    """
    inside = above_mm is None
    side = replace(_side(bench, about, face), above_mm=above_mm or 0.0)
    if above_mm is not None:
        side = replace(side, thickness_mm=above_mm)
    name = "the bore" if inside else "the boss"
    room_mm = diameter_mm / 2.0 - bench.rod_mm / 2.0
    if inside and room_mm < about.place_u_mm + NEAR_MM:
        raise Trip(
            "bore too narrow",
            f"a {bench.rod_mm:g} mm rod has {room_mm:.2f} mm of room in a bore of {diameter_mm:g} mm, its place may be "
            f"{about.place_u_mm:g} mm off",
            "give its place better, or take a thinner rod",
        )
    x_mm, y_mm = about.frame.to_machine(at)
    contacts: list[SideContact] = []
    # How far the first walls may be; a tip that meets the plate on its way down, since that is too far, says so.
    place_u = about.place_u_mm + hypot(*at) * tan(radians(about.turn_u_deg))
    for beside in (0.0, BESIDE, -BESIDE):
        for toward in (Toward(0, -1), Toward(0, 1), Toward(1, -1), Toward(1, 1)):
            if (beside > 0.0) != (toward.sign > 0) and beside != 0.0:
                continue  # four beside the middle: two on one side of it, two on the other
            bench.say(f"Touching {name}: contact {len(contacts) + 1}")
            off = beside * (room_mm if inside else diameter_mm / 2.0 + bench.rod_mm / 2.0)
            middle = (x_mm, y_mm + off) if toward.axis == 0 else (x_mm + off, y_mm)
            contacts.append((yield from _around(bench, side, toward, middle, diameter_mm, off, place_u, name)))
            if len(contacts) == 4:
                found = find_round(contacts, side, inside=inside)
                x_mm, y_mm, place_u = found.x_mm, found.y_mm, 0.05
    return find_round(contacts, side, inside=inside)


def _around(
    bench: Bench,
    side: Side,
    toward: Toward,
    middle: Point,
    diameter_mm: float,
    off_mm: float,
    place_u_mm: float,
    name: str,
) -> Cycle[SideContact]:
    """One contact on a bore, from its middle outward, or on a boss, from outside toward its middle."""
    inside = side.above_mm == 0.0
    reach = diameter_mm / 2.0 + (-bench.rod_mm if inside else bench.rod_mm) / 2.0
    chord = sqrt(max(reach * reach - off_mm * off_mm, 0.0))
    far = chord + place_u_mm + NEAR_MM
    d = (float(toward.sign), 0.0) if toward.axis == 0 else (0.0, float(toward.sign))
    start = middle if inside else (middle[0] - d[0] * far, middle[1] - d[1] * far)
    most = far + (0.0 if inside else place_u_mm)
    return (yield from _beside(bench, side, start, toward, most + NEAR_MM, name))


def _side(bench: Bench, about: About, face: FacePlane) -> Side:
    play = bench.machine.axes.backlash_um
    return Side(
        face,
        bench.rod_mm,
        bench.electrode.tip_mm,
        bench.electrode.cone_mm,
        about.thickness_mm,
        (play[0] / UM_PER_MM, play[1] / UM_PER_MM),
    )


def _wall(bench: Bench, about: About, side: Side, at: Point, along: int, *, inside: bool) -> Cycle[list[SideContact]]:
    """Three contacts along a wall that runs from `at` along the job's x (0) or y (1), each placed by those before."""
    span, first = about.span_mm[along], _first_mm(bench, about, along)
    names = ("x", "y")
    contacts: list[SideContact] = []
    for distance in (first, min(first + SECOND_MM, 0.7 * span), span):
        bench.say(f"Touching the edge along {names[along]}: contact {len(contacts) + 1} of 3")
        rim, toward, u_mm = _expected(bench, about, contacts, at, along, distance, inside=inside)
        start, side_to, reach = _start(bench, rim, toward, u_mm)
        contacts.append((yield from _beside(bench, side, start, side_to, reach, f"the edge along {names[along]}")))
    return contacts


def _expected(
    bench: Bench,
    about: About,
    contacts: Sequence[SideContact],
    at: Point,
    along: int,
    distance: float,
    *,
    inside: bool,
) -> tuple[Point, Point, float]:
    """Where the rim is expected at a distance along it, the direction into the wall, and how far that may be off."""
    corner = about.frame.to_machine(at)
    ahead_x, ahead_y = about.frame.to_machine((at[0] + (along == 0), at[1] + (along == 1)))
    ux, uy = ahead_x - corner[0], ahead_y - corner[1]
    flip = -1.0 if inside else 1.0
    # The plate lies to the left of its x edge and to the right of its y edge.
    toward = (-uy * flip, ux * flip) if along == 0 else (uy * flip, -ux * flip)
    rim = (corner[0] + ux * distance, corner[1] + uy * distance)
    if not contacts:
        return rim, toward, about.place_u_mm + distance * tan(radians(about.turn_u_deg))
    xs, ys = [c.x_um / UM_PER_MM for c in contacts], [c.y_um / UM_PER_MM for c in contacts]
    gone = distance - _along((ux, uy), corner, (xs[-1], ys[-1]))
    if len(contacts) == 1:
        turn = tan(radians(about.turn_u_deg))
    else:
        line = fit_wall(xs, ys)
        ux, uy = (line.ux, line.uy) if line.ux * ux + line.uy * uy > 0 else (-line.ux, -line.uy)
        turn = SURE_TURN
    half = bench.rod_mm / 2.0
    rim = (xs[-1] + ux * gone + toward[0] * half, ys[-1] + uy * gone + toward[1] * half)
    return rim, toward, abs(gone) * turn


def _along(u: Point, origin: Point, point: Point) -> float:
    return u[0] * (point[0] - origin[0]) + u[1] * (point[1] - origin[1])


def _start(bench: Bench, rim: Point, toward: Point, u_mm: float) -> tuple[Point, Toward, float]:
    """Where to begin so that one axis alone leads to the wall: the one that is squarer to it."""
    axis = 0 if abs(toward[0]) >= abs(toward[1]) else 1
    square = abs(toward[axis]) / hypot(*toward)
    side = Toward(axis, 1 if toward[axis] > 0 else -1)
    clear = (u_mm + NEAR_MM + bench.rod_mm / 2.0) / square
    start = [rim[0], rim[1]]
    start[axis] -= side.sign * clear
    return (start[0], start[1]), side, clear + (u_mm + NEAR_MM) / square


def place_beside(bench: Bench, about: About, at: Point, along: int) -> tuple[Point, Toward, float]:
    """Where to begin beside the wall that runs from `at` along x (0) or y (1), which way to go, and how far at most."""
    rim, toward, u_mm = _expected(bench, about, (), at, along, _first_mm(bench, about, along), inside=False)
    return _start(bench, rim, toward, u_mm)


def _first_mm(bench: Bench, about: About, along: int) -> float:
    """How far along a wall it is touched first: clear of its corner, wherever that is."""
    span = about.span_mm[along]
    return min(max(about.place_u_mm + bench.rod_mm, 0.15 * span), 0.4 * span)


def stand_beside(bench: Bench, start: Point, rim_mm: float, tip_mm: float, name: str) -> Cycle[None]:
    """Go to a place beside a wall whose rim is no higher than that, and down until the tip is at a height (mm)."""
    yield from travel(bench, *start)
    yield from lower(bench, (rim_mm + NEAR_MM + bench.electrode.tip_mm) * UM_PER_MM)
    yield from feel_down(bench, (tip_mm + bench.electrode.tip_mm) * UM_PER_MM, name)


def _beside(bench: Bench, side: Side, start: Point, toward: Toward, reach_mm: float, name: str) -> Cycle[SideContact]:
    """Go to a place beside a wall, down below its rim, and touch it."""
    end = [*start]
    end[toward.axis] += toward.sign * reach_mm
    rims = [side.face.at_mm(x, y) + side.above_mm for x, y in (start, (end[0], end[1]))]
    deep_mm = side.cone_mm + min(BELOW_RIM_MM, side.thickness_mm / 2.0)
    yield from stand_beside(bench, start, max(rims), min(rims) - deep_mm, name)
    contact = yield from touch_side(bench, toward, reach_mm * UM_PER_MM, name)
    yield from rise(bench)
    return contact


def _turned(about: About, first: Sequence[SideContact]) -> About:
    """The frame as the first wall showed its direction."""
    line = fit_wall([c.x_um / UM_PER_MM for c in first], [c.y_um / UM_PER_MM for c in first])
    believed = radians(about.frame.rotation_deg)
    angle = line.angle_rad
    if cos(angle) * cos(believed) + sin(angle) * sin(believed) < 0.0:
        angle += radians(180.0)
    frame = replace(about.frame, rotation_deg=degrees(angle))
    return replace(about, frame=frame, turn_u_deg=0.5)
