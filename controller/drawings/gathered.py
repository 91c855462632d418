"""From the holes of a drawing to the holes of one job: one diameter, none twice, overlaps told, a face to touch."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from controller.drawings.drawing import Drawing, DrawingError, DrawnHole
from controller.plan.nearness import Cells
from controller.settings.job import Point

# Two centres nearer than this are one hole drawn twice: a tenth of what any home-built machine repeats. Chosen.
SAME_MM: Final = 0.005
# Diameters that differ by less are the same: what is left of converting between inch and mm with four decimals. Chosen.
SAME_DIAMETER_MM: Final = 0.002
# Places tried for a touch along each side of the holes' box. Chosen so that room between dense holes is found.
TRIED_A_SIDE: Final = 41
# Most overlaps named one by one. Chosen so that a wrong unit doesn't fill the screen.
NAMED: Final = 5


@dataclass(slots=True, frozen=True)
class Gathered:
    """What a job is made of.

    Attributes:
        places_mm: Hole centres in the job's frame, in the drawing's order.
        diameter_mm: Their diameter as drawn; None when the drawing says none.
        left: What was not taken, in sentences.
        overlaps: Holes that cut into each other, in sentences.
    """

    places_mm: tuple[Point, ...]
    diameter_mm: float | None
    left: tuple[str, ...]
    overlaps: tuple[str, ...]


def gather(drawing: Drawing, name: str, diameter_mm: float | None = None, zero_mm: Point = (0.0, 0.0)) -> Gathered:
    """The holes of one diameter, each once.

    Args:
        drawing: What was read.
        name: What to call it in messages.
        diameter_mm: Which diameter to take; needed where the drawing has several. Holes without one are always taken.
        zero_mm: The drawing's place that becomes the job's zero.

    Raises:
        DrawingError: Several diameters and none asked for, or none of the one asked for.
    """
    size = _diameter(drawing.holes, name, diameter_mm)
    taken = [hole for hole in drawing.holes if _of_size(hole, size)]
    others = Counter(round(hole.diameter_mm or 0.0, 3) for hole in drawing.holes if not _of_size(hole, size))
    left = [f"{count} of diameter {other:g} mm: not the {size:g} mm asked for" for other, count in others.items()]
    once, twice = _without_duplicates(taken)
    if twice:
        first, again = twice[0]
        left.append(
            f"{len(twice)} drawn twice, the first at x {first.x_mm:g}, y {first.y_mm:g} mm "
            f"({first.where}, again {again.where})"
        )
    if not once:
        raise DrawingError([f"{name}: has no hole of diameter {size:g} mm"])
    places = tuple((hole.x_mm - zero_mm[0], hole.y_mm - zero_mm[1]) for hole in once)
    overlaps = _overlaps(places, size if size is not None else 0.0)
    drawn = size if any(hole.diameter_mm is not None for hole in once) else None
    return Gathered(places, drawn, tuple(left), tuple(overlaps))


def _of_size(hole: DrawnHole, size: float | None) -> bool:
    return hole.diameter_mm is None or size is None or abs(hole.diameter_mm - size) <= SAME_DIAMETER_MM


def _diameter(holes: Sequence[DrawnHole], name: str, asked_mm: float | None) -> float | None:
    """The one diameter to take; None where no hole has any and none was asked for."""
    sizes = sorted({round(hole.diameter_mm, 3): hole.diameter_mm for hole in holes if hole.diameter_mm}.values())
    if asked_mm is not None:
        if sizes and all(abs(asked_mm - size) > SAME_DIAMETER_MM for size in sizes) and _all_sized(holes):
            raise DrawingError(
                [f"{name}: has no hole of {asked_mm:g} mm; it has {', '.join(f'{size:g}' for size in sizes)} mm"]
            )
        return asked_mm
    distinct = [size for place, size in enumerate(sizes) if not place or size - sizes[place - 1] > SAME_DIAMETER_MM]
    if len(distinct) > 1:
        counts = Counter(round(hole.diameter_mm, 3) for hole in holes if hole.diameter_mm)
        told = ", ".join(f"{count} of {size:g} mm" for size, count in sorted(counts.items()))
        raise DrawingError([f"{name}: has holes of several diameters ({told}); choose one with --diameter"])
    return distinct[0] if distinct else None


def _all_sized(holes: Sequence[DrawnHole]) -> bool:
    return all(hole.diameter_mm is not None for hole in holes)


def _without_duplicates(holes: Sequence[DrawnHole]) -> tuple[list[DrawnHole], list[tuple[DrawnHole, DrawnHole]]]:
    """Each hole once, in order, and the pairs of first and repeated."""
    cells = Cells([hole.place_mm for hole in holes], 1.0)
    once: list[DrawnHole] = []
    twice: list[tuple[DrawnHole, DrawnHole]] = []
    for number, hole in enumerate(holes):
        earlier = [other for other in cells.within(hole.place_mm, SAME_MM) if other < number]
        if earlier:
            twice.append((holes[earlier[0]], hole))
        else:
            once.append(hole)
    return once, twice


def _overlaps(places: Sequence[Point], diameter_mm: float) -> list[str]:
    if diameter_mm <= 0.0:
        return []
    cells = Cells(places, diameter_mm)
    pairs = [
        (number, other)
        for number, place in enumerate(places)
        for other in cells.within(place, diameter_mm)
        if other > number
    ]
    told = [
        f"holes {a + 1} and {b + 1} are {math.dist(places[a], places[b]):.3f} mm apart, at "
        f"x {places[a][0]:g}, y {places[a][1]:g} and x {places[b][0]:g}, y {places[b][1]:g} mm"
        for a, b in pairs[:NAMED]
    ]
    return told + ([f"and {len(pairs) - NAMED} more pairs"] if len(pairs) > NAMED else [])


def touch_points(places: Sequence[Point], clear_mm: float, margin_mm: float) -> tuple[Point, ...]:
    """Three places on the face, far apart and clear of every hole; none when there is no such room.

    Args:
        places: Hole centres.
        clear_mm: Least distance of a touch from a hole's centre.
        margin_mm: How far beyond the outermost centres the plate is taken to go on.
    """
    xs, ys = [x for x, _ in places], [y for _, y in places]
    low = (min(xs) - margin_mm, min(ys) - margin_mm)
    high = (max(xs) + margin_mm, max(ys) + margin_mm)
    cells = Cells(places, max(clear_mm, 1e-3))

    def nearest_free(corner: Point) -> Point | None:
        steps = [part / (TRIED_A_SIDE - 1) for part in range(TRIED_A_SIDE)]
        tried = [(low[0] + (high[0] - low[0]) * u, low[1] + (high[1] - low[1]) * v) for u in steps for v in steps]
        free = (
            point for point in sorted(tried, key=lambda p: math.dist(p, corner)) if not cells.within(point, clear_mm)
        )
        return next(free, None)

    corners = [(low[0], low[1]), (high[0], low[1]), ((low[0] + high[0]) / 2.0, high[1]), (low[0], high[1]), high]
    found = [point for point in dict.fromkeys(nearest_free(corner) for corner in corners) if point is not None]
    if len(found) < 3:
        return ()
    best = max(combinations(found, 3), key=lambda three: _area(*three))
    return tuple((round(x, 3), round(y, 3)) for x, y in best)


def _area(p: Point, q: Point, r: Point) -> float:
    return abs((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])) / 2.0
