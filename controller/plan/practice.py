"""What a job asks of the process, against what the process is known to do: refusals and cautions before anything moves.

A refusal is for what can't come out well; a caution (`Plan.notes`) for what has been done but seldom. Each is a
sentence with the figure to change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from controller.plan.nearness import Cells
from controller.plan.overcut import Overcut
from controller.plan.wear import disc_area_mm2, length_lost_mm
from controller.settings.job import Job, Point
from controller.settings.technology import Technology

DEEPEST: Final = 17.0
"""Depth over diameter beyond which nothing is published for tungsten in water (Kagaya, Oishi & Yada 1986)."""

DEEP: Final = 10.0
"""From here on holes are counted as deep: 10 to 14 in water (JMPT 2004, references section 2)."""

LEAST_WEB_MM: Final = 0.1
"""Wall between two holes below which sparks reach through: one overcut (0.1 to 0.2 mm at 10 A; common practice, no
source)."""

THIN_WEB: Final = 0.5
"""Wall over plate thickness below which it warps in the heat (common practice, no source)."""

FREE_RUN_MM: Final = 0.3
"""Way that must be free past the far face before a hole counts as through: as `core.breakthrough`."""

SIGMAS: Final = 2.0


@dataclass(slots=True)
class Practice:
    """Everything that speaks against a job, and what its owner should know."""

    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def judge_practice(job: Job, technology: Technology, overcut: Overcut, places: Sequence[Point]) -> Practice:
    """Refusals and cautions of a job whose holes are at `places` (job frame)."""
    found = Practice()
    _deep(job, found)
    _webs(job, places, found)
    _edges(job, places, found)
    _room_below(job, technology, found)
    _rod(job, technology, overcut, found)
    _tolerance(job, overcut, found)
    return found


def _deep(job: Job, found: Practice) -> None:
    ratio = job.work.thickness_mm / job.holes.diameter_mm
    if ratio > DEEPEST:
        found.problems.append(
            f"work.thickness_mm is {ratio:.0f} times holes.diameter_mm: beyond {DEEPEST:g} nothing is known to come "
            f"out with tungsten in water; drill from both sides, or make the hole larger"
        )
    elif ratio > DEEP:
        found.notes.append(
            f"the holes are {ratio:.0f} times as deep as wide, from {DEEP:g} on flushing gets hard: drill one first"
        )


def _webs(job: Job, places: Sequence[Point], found: Practice) -> None:
    """Walls between neighbours. Holes that cut into each other are refused elsewhere."""
    wide = job.holes.diameter_mm
    reach = wide + max(LEAST_WEB_MM, THIN_WEB * job.work.thickness_mm)
    cells = Cells(places, reach)
    walls = [
        (math.dist(places[other], place) - wide, number, other)
        for number, place in enumerate(places)
        for other in cells.within(place, reach)
        if other > number
    ]
    between = [wall for wall in walls if wall[0] >= 0.0]
    if not between:
        return
    thinnest, first, second = min(between)
    these = f"holes {first + 1} and {second + 1}"
    if thinnest < LEAST_WEB_MM:
        found.problems.append(
            f"{these} leave a wall of {thinnest:.2f} mm between them: sparks reach through less than {LEAST_WEB_MM:g} "
            f"mm; set them further apart"
        )
    else:
        found.notes.append(
            f"{these} leave a wall of {thinnest:.2f} mm, less than half the plate's thickness: it may warp; let "
            f"holes.apart_mm spread the heat"
        )


def _edges(job: Job, places: Sequence[Point], found: Practice) -> None:
    outline = job.work.outline_mm
    if not outline:
        return
    radius = job.holes.diameter_mm / 2.0
    near = [(_inside_by(outline, place) - radius, number) for number, place in enumerate(places, 1)]
    worst, number = min(near)
    count = sum(wall < LEAST_WEB_MM for wall, _ in near)
    more = f" (and {count - 1} more)" if count > 1 else ""
    if worst < -radius:
        found.problems.append(f"hole {number}{more} lies outside work.outline_mm by {-worst - radius:.2f} mm")
    elif worst < LEAST_WEB_MM:
        found.problems.append(
            f"hole {number}{more} leaves {worst:.2f} mm to the edge of the plate, {LEAST_WEB_MM:g} is the least: move "
            f"it inward or correct work.outline_mm"
        )
    off = [place for place, point in enumerate(job.work.touch_points_mm) if _inside_by(outline, point) <= 0.0]
    found.problems += [f"work.touch_points_mm[{place}] lies outside work.outline_mm: touch the face" for place in off]


def _inside_by(outline: Sequence[Point], point: Point) -> float:
    """Distance of a point from the outline, negative outside."""
    inside, nearest = False, math.inf
    for (ax, ay), (bx, by) in zip(outline, (*outline[1:], outline[0]), strict=True):
        if (ay > point[1]) != (by > point[1]) and point[0] < ax + (point[1] - ay) / (by - ay) * (bx - ax):
            inside = not inside
        length_2 = (bx - ax) ** 2 + (by - ay) ** 2
        along = ((point[0] - ax) * (bx - ax) + (point[1] - ay) * (by - ay)) / length_2 if length_2 else 0.0
        share = min(max(along, 0.0), 1.0)
        nearest = min(nearest, math.dist(point, (ax + share * (bx - ax), ay + share * (by - ay))))
    return nearest if inside else -nearest


def _room_below(job: Job, technology: Technology, found: Practice) -> None:
    """The worn cone must go through before the full diameter does."""
    cone, wide = technology.cone_diameters, job.electrode.diameter_mm
    expected = cone.guess * wide + FREE_RUN_MM
    most = (cone.guess + SIGMAS * cone.u) * wide + FREE_RUN_MM
    room = job.work.clear_below_mm
    if room < expected:
        found.problems.append(
            f"work.clear_below_mm is {room:g}: the tip wears to a cone, and to bring the full diameter through takes "
            f"about {expected:.1f} mm below the plate; raise the plate, and set {most:.1f} or more"
        )
    elif room < most:
        found.notes.append(
            f"work.clear_below_mm is {room:g}: a tip that wears longer than expected would need {most:.1f} mm; it is "
            f"then trimmed, or you are asked"
        )


def _rod(job: Job, technology: Technology, overcut: Overcut, found: Practice) -> None:
    """One hole must be possible with one rod."""
    electrode = job.electrode
    hole = disc_area_mm2(electrode.diameter_mm + 2.0 * overcut.mean_mm)
    tool = disc_area_mm2(electrode.diameter_mm, electrode.bore_mm)
    wear = technology.volumetric_wear
    lost = length_lost_mm(wear.guess + SIGMAS * wear.u, hole, tool, job.work.thickness_mm)
    usable = electrode.length_mm - electrode.min_length_mm
    if usable < lost:
        found.problems.append(
            f"electrode.length_mm leaves {usable:g} mm that can wear away, one hole may take {lost:.1f}: put a longer "
            f"rod in, or let a shorter stub be held (electrode.min_length_mm)"
        )


def _tolerance(job: Job, overcut: Overcut, found: Practice) -> None:
    """Holes scatter about their own mean, whatever the rod."""
    scatter = 2.0 * overcut.scatter_mm
    tolerance = job.holes.tolerance_mm
    if tolerance < scatter:
        found.problems.append(
            f"holes.tolerance_mm is {tolerance:g}, finer than the process: diameters scatter by {scatter:.3f} mm "
            f"(standard deviation), so a third would be out with the best of rods; allow {SIGMAS * scatter:.3f} or more"
        )
    elif tolerance < SIGMAS * scatter:
        found.notes.append(
            f"holes.tolerance_mm is {tolerance:g} and diameters scatter by {scatter:.3f} mm: some will be out"
        )
