"""Soft limits: every place the tip or the holder will go, against the travel; and holes against each other.

Each check returns sentences, one a mistake, with the key to change; none means that all is well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from controller.plan.frame import Frame
from controller.plan.keep_outs import ROD_MARGIN_MM, Obstacle, Ways
from controller.plan.nearness import Cells
from controller.settings.job import Job, Point
from controller.settings.machine import Machine

HOLDER_MARGIN_MM = 1.0
"""Room kept between the holder's face and the work. Chosen so that a plate laid askew doesn't meet the holder."""

MOST_HOLES = 20_000
"""Most holes of one job. Chosen so that ordering them stays a matter of seconds to a minute."""

SIGMAS = 2.0
"""Standard uncertainties of rough heights and lengths that a limit allows for: about 95 %."""


def outside_travel(what: str, places: Sequence[Point], machine: Machine) -> list[str]:
    """Places (machine frame) that the x or y axis can't reach, one sentence for all of a kind."""
    axes = machine.axes
    bad = [
        number
        for number, place in enumerate(places, 1)
        if not all(axes.travel_min_mm[axis] <= place[axis] <= axes.travel_max_mm[axis] for axis in (0, 1))
    ]
    if not bad:
        return []
    x, y = places[bad[0] - 1]
    these = f"{what} {bad[0]} is" if len(bad) == 1 else f"{len(bad)} {what}s are"
    first = "" if len(bad) == 1 else f"number {bad[0]} "
    return [
        (
            f"{these} outside the travel: {first}at x {x:.2f}, y {y:.2f} mm in the machine, the travel is "
            f"x {axes.travel_min_mm[0]:g} to {axes.travel_max_mm[0]:g}, y {axes.travel_min_mm[1]:g} to "
            f"{axes.travel_max_mm[1]:g}; move work_place.origin_mm, turn work_place.rotation_deg or change the job"
        )
    ]


def too_deep(job: Job, machine: Machine) -> list[str]:
    """Depth and clear height against the z travel, and the holder against the work.

    The deepest place of the holder's face is where the shortest electrode has its tip at the bottom of the room below
    the plate; the highest is where the longest one passes over the work at clear height.
    """
    work, place, holder = job.work, machine.work_place, machine.holder
    down_mm = work.thickness_mm + work.clear_below_mm
    frame = Frame.of(place)
    rises = [frame.rise_mm(point) for point in work.touch_points_mm]
    low = (
        place.surface_height_mm
        + min(0.0, *rises)
        - SIGMAS * place.surface_height_u_mm
        - down_mm
        + holder.min_protrusion_mm
    )
    unsure = SIGMAS * math.hypot(place.surface_height_u_mm, holder.protrusion_u_mm)
    face = max(place.surface_height_mm + max(0.0, *rises), machine.reference_plate.height_mm)
    high = face + place.clear_height_mm + holder.protrusion_mm + unsure
    bottom, top = machine.axes.travel_min_mm[2], machine.axes.travel_max_mm[2]
    problems: list[str] = []
    if low < bottom:
        problems.append(
            f"the holder would have to go down to z {low:.1f} mm to drill {down_mm:g} mm deep with the shortest "
            f"electrode, the travel ends at {bottom:g}; raise the work or holder.min_protrusion_mm by "
            f"{bottom - low:.1f} mm"
        )
    if high > top:
        problems.append(
            f"the holder would have to go up to z {high:.1f} mm to clear the work with the longest electrode, the "
            f"travel ends at {top:g}; lower the work, holder.protrusion_mm or work_place.clear_height_mm by "
            f"{high - top:.1f} mm"
        )
    needed = down_mm + HOLDER_MARGIN_MM
    if holder.min_protrusion_mm < needed:
        problems.append(
            f"the holder would meet the work: the electrode stands out {holder.min_protrusion_mm:g} mm at the least "
            f"and goes {down_mm:g} mm down; set holder.min_protrusion_mm to {needed:g} or more"
        )
    return problems


def rod_too_short(job: Job, machine: Machine) -> list[str]:
    """The stock must be long enough to stand out as far as the holder file says."""
    length, protrusion = job.electrode.length_mm, machine.holder.protrusion_mm
    if length >= protrusion:
        return []
    return [
        (
            f"electrode.length_mm is {length:g}, less than holder.protrusion_mm ({protrusion:g}): put a longer rod "
            f"in, or let it stand out less"
        )
    ]


def colliding(places: Sequence[Point], diameter_mm: float) -> list[str]:
    """Holes that fall together or cut into each other."""
    cells = Cells(places, diameter_mm)
    pairs = [
        (number, other)
        for number, place in enumerate(places)
        for other in cells.within(place, diameter_mm)
        if other > number
    ]
    if not pairs:
        return []
    first, second = pairs[0]
    apart = math.dist(places[first], places[second])
    more = f" (and {len(pairs) - 1} more pairs)" if len(pairs) > 1 else ""
    how = (
        "are the same hole twice" if apart < diameter_mm / 2.0 else f"are {apart:.2f} mm apart and cut into each other"
    )
    return [
        (
            f"holes {first + 1} and {second + 1} {how}{more}; holes of {diameter_mm:g} mm need at least that much "
            f"from centre to centre: change the patterns"
        )
    ]


def touch_on_hole(touch_points: Sequence[Point], places: Sequence[Point], job: Job) -> list[str]:
    """A touch point must stand on the face, also when the job is taken up again with holes already made."""
    clear = (job.holes.diameter_mm + job.electrode.diameter_mm) / 2.0
    cells = Cells(places, job.holes.diameter_mm)
    problems: list[str] = []
    for number, point in enumerate(touch_points):
        met = cells.within(point, clear)
        if met:
            problems.append(
                f"work.touch_points_mm[{number}] stands on hole {met[0] + 1}: move it at least {clear:g} mm from the "
                f"hole's centre"
            )
    return problems


def too_many(count: int) -> list[str]:
    """A number of holes that is a slip of the keyboard."""
    if count <= MOST_HOLES:
        return []
    return [f"the patterns make {count} holes, more than {MOST_HOLES}: split the job"]


def under_keep_outs(
    what: str, places: Sequence[Point], standing: Sequence[Obstacle], job: Job, machine: Machine
) -> list[str]:
    """Places (machine frame) at which the electrode, or the holder above it, would meet a keep-out."""
    holder, down_mm = machine.holder, job.work.thickness_mm + job.work.clear_below_mm
    face_mm = machine.work_place.surface_height_mm
    lowest_holder_mm = face_mm - down_mm + holder.min_protrusion_mm
    problems: list[str] = []
    for obstacle in standing:
        tall = obstacle.top_mm > lowest_holder_mm
        needed = ROD_MARGIN_MM + (holder.radius_mm if tall else job.electrode.diameter_mm / 2.0)
        met = [number for number, place in enumerate(places, 1) if obstacle.distance_mm(place) < needed]
        if met:
            these = f"{what} {met[0]} is" if len(met) == 1 else f"{len(met)} {what}s, the first number {met[0]}, are"
            by = (
                f"the holder ({holder.radius_mm:g} mm about the electrode) would meet it"
                if tall
                else "it is in the way"
            )
            problems.append(
                f"{these} less than {needed:.1f} mm from keep-out {obstacle.name!r} and {by}: move the clamp, or the "
                f"{what}{'s' if len(met) > 1 else ''}"
            )
    return problems


def cut_off(start: Point, places: Sequence[Point], ways: Ways) -> list[str]:
    """Places that no way leads to, neither around the keep-outs nor over them."""
    if not ways.obstacles:
        return []
    beyond = [number for number, place in enumerate(places, 1) if math.isinf(ways.length_mm(start, place))]
    if not beyond:
        return []
    names = ", ".join(repr(obstacle.name) for obstacle in ways.obstacles)
    return [
        (
            f"no way leads from the reference plate to {len(beyond)} holes, the first number {beyond[0]}: the "
            f"keep-outs ({names}) stand around them and are too high to pass over; lower holder.protrusion_mm or move "
            f"the clamps"
        )
    ]
