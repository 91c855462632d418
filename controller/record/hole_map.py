"""The hole map of the report: every hole where it is, its exit diameter told by shape and colour both."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from controller.core.events import HoleFinished
from controller.record.journal import RunRecord, StartRecord, TrueHole

# Drawing units of the map's longer side, and the margin around the outermost holes.
SIDE, MARGIN = 480.0, 18.0
# Smallest and largest mark (radius in drawing units): chosen so that one hole is not a blot and 5000 can be told apart.
LEAST_RADIUS, MOST_RADIUS = 1.6, 13.0
# Radius of a mark as a share of the mean distance between holes: chosen so that neighbours don't touch.
FILL = 0.38


@dataclass(slots=True, frozen=True)
class Spot:
    """One hole on the map: class (shape and colour), place in drawing units, hover text."""

    style: str
    x: float
    y: float
    title: str


@dataclass(slots=True, frozen=True)
class HoleMap:
    """The map: size and mark radius in drawing units, spots, and the legend as (style, words, count)."""

    width: float
    height: float
    radius: float
    spots: list[Spot]
    legend: list[tuple[str, str, int]]
    check: frozenset[int]


def hole_map(record: RunRecord, check: frozenset[int]) -> HoleMap:
    """The map of a run; holes in `check` get a ring."""
    xs = [place.x_mm for place in record.planned]
    ys = [place.y_mm for place in record.planned]
    across, up = max(xs) - min(xs), max(ys) - min(ys)
    scale = (SIDE - 2 * MARGIN) / max(across, up, 1e-9)
    finished, truths = record.finished(), {truth.hole: truth for truth in record.true_holes}
    spots, styles = [], Counter[str]()
    for place in record.planned:
        hole = finished.get(place.hole)
        style = spot_style(hole, record.start)
        styles[style] += 1
        title = _title(place.hole, place.x_mm, place.y_mm, hole, truths.get(place.hole))
        x = round(MARGIN + (place.x_mm - min(xs)) * scale, 1)
        y = round(MARGIN + (max(ys) - place.y_mm) * scale, 1)
        spots.append(Spot(f"{style} check" if place.hole in check else style, x, y, title))
    apart = scale * (max(across, 1e-9) * max(up, across / len(xs), 1e-9) / len(xs)) ** 0.5
    radius = min(MOST_RADIUS, max(LEAST_RADIUS, FILL * apart))
    width, height = across * scale + 2 * MARGIN, up * scale + 2 * MARGIN
    legend = [(style, words, styles[style]) for style, words in _legend(record.start) if styles[style]]
    return HoleMap(round(width, 1), round(height, 1), round(radius, 2), spots, legend, check)


def spot_style(hole: HoleFinished | None, start: StartRecord) -> str:
    """How a hole is marked: by outcome, and for through holes by where the exit lies in the tolerance."""
    if hole is None:
        return "not-drilled"
    if hole.outcome != "through":
        return hole.outcome
    share = (hole.exit_diameter_mm - start.diameter_mm) / start.tolerance_mm
    if share < -1:
        return "under"
    if share > 1:
        return "over"
    # The middle third of the tolerance is drawn as "at size".
    return "small" if share < -1 / 3 else "large" if share > 1 / 3 else "middle"


def _legend(start: StartRecord) -> list[tuple[str, str]]:
    size, third, tolerance = start.diameter_mm, start.tolerance_mm / 3, start.tolerance_mm
    return [
        ("under", f"exit below {size - tolerance:.3f} mm, out of tolerance"),
        ("small", f"{size - tolerance:.3f} to {size - third:.3f} mm"),
        ("middle", f"{size - third:.3f} to {size + third:.3f} mm"),
        ("large", f"{size + third:.3f} to {size + tolerance:.3f} mm"),
        ("over", f"exit above {size + tolerance:.3f} mm, out of tolerance"),
        ("undersize", "left undersize: the full diameter did not pass"),
        ("failed", "failed"),
        ("not-drilled", "not drilled"),
    ]


def _title(number: int, x_mm: float, y_mm: float, hole: HoleFinished | None, truth: TrueHole | None) -> str:
    where = f"Hole {number} at {x_mm:.2f}, {y_mm:.2f} mm"
    if hole is None:
        return f"{where}: not drilled"
    lines = [
        f"{where}: {hole.outcome}",
        f"exit {hole.exit_diameter_mm:.3f} ± {2 * hole.exit_diameter_u_mm:.3f} mm",
        f"{hole.seconds:.0f} s, eroding {hole.erode_s:.0f} s",
        f"wear {hole.wear_mm:.3f} mm, over-travel {hole.over_travel_mm:.2f} mm",
        f"shorts {hole.shorts}, recoveries {hole.recoveries}",
    ]
    if truth is not None:
        lines.append(f"true exit {truth.exit_diameter_mm:.3f} mm")
    return "\n".join(lines)
