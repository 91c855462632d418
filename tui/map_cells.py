"""Where every hole of a plate comes to stand on a map of character cells, and what each cell shows. Pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from controller.core.events import HoleFinished
from controller.record.journal import PlacedHole

# A cell is about twice as high as it is wide (common practice, no source).
CELL_ASPECT: Final = 2.0
# Holes of one row stand this close at most (mm) to count as one row: drawings round to hundredths.
SAME_MM: Final = 0.02
# A lattice is drawn no wider apart than this, in columns: chosen so that a small job still looks like a plate.
APART_MOST: Final = 6
# Of several holes in one cell the first of these that applies is shown.
GRAVEST: Final = ("now", "failed", "undersize")


@dataclass(slots=True, frozen=True)
class Cells:
    """Holes by cell (row, column), and the cell of every hole."""

    holes: dict[tuple[int, int], tuple[int, ...]]
    cell: dict[int, tuple[int, int]]
    rows: int
    columns: int


def laid_out(holes: Sequence[PlacedHole], width: int, height: int) -> Cells:
    """Holes on a map of at most `width` × `height` cells; evenly spaced where they stand in a lattice that fits."""
    xs, ys = _lines([hole.x_mm for hole in holes]), _lines([-hole.y_mm for hole in holes])
    across = _even(xs, width, APART_MOST)
    down = _even(ys, height, APART_MOST // 2)
    if across is None:
        across, down = _in_proportion(xs, ys, width, height)
    elif down is None:
        _, down = _in_proportion([0.0], ys, width, height)
    placed: dict[tuple[int, int], list[int]] = {}
    cell = {}
    for hole in holes:
        at = down[_nearest(ys, -hole.y_mm)], across[_nearest(xs, hole.x_mm)]
        placed.setdefault(at, []).append(hole.hole)
        cell[hole.hole] = at
    return Cells(
        {at: tuple(each) for at, each in placed.items()}, cell, max(down.values()) + 1, max(across.values()) + 1
    )


def cell_state(holes: Collection[int], finished: Mapping[int, HoleFinished], now: int) -> str:
    """What the holes of one cell are like, as a key of `looks.HOLES`."""
    states = [hole_state(hole, finished, now) for hole in holes]
    for grave in GRAVEST:
        if grave in states:
            return grave
    return states[0] if len(set(states)) == 1 else "mixed"


def hole_state(hole: int, finished: Mapping[int, HoleFinished], now: int) -> str:
    """What one hole is like, as a key of `looks.HOLES`."""
    done = finished.get(hole)
    if done is not None:
        return done.outcome if done.outcome in {"through", "undersize"} else "failed"
    return "now" if hole == now else "to do"


def neighbour(cells: Cells, hole: int, rows: int, columns: int) -> int:
    """The hole that stands next in a direction; the same hole when there is none."""
    row, column = cells.cell[hole]
    along = [
        (at, each)
        for at, each in cells.holes.items()
        if (at[0] - row) * rows > 0 or (at[1] - column) * columns > 0
        if (columns == 0 or at[0] == row)
    ]
    if not along:
        return hole
    _, nearest = min(along, key=lambda pair: abs(pair[0][0] - row) * len(cells.holes) + abs(pair[0][1] - column))
    return nearest[0]


def _lines(places: Sequence[float]) -> list[float]:
    """Different places, in order; what is hardly apart counts as one."""
    found: list[float] = []
    for place in sorted(places):
        if not found or place - found[-1] > SAME_MM:
            found.append(place)
    return found


def _even(lines: Sequence[float], cells: int, apart_most: int) -> dict[int, int] | None:
    """Lines at even spacing; None when they are too many or not evenly spaced themselves."""
    count = len(lines)
    if count == 1:
        return {0: 0}
    gaps = [after - before for before, after in pairwise(lines)]
    if count > cells or max(gaps) > 1.5 * min(gaps):
        return None
    apart = min((cells - 1) // (count - 1), apart_most)
    return {line: line * apart for line in range(count)}


def _in_proportion(
    xs: Sequence[float], ys: Sequence[float], width: int, height: int
) -> tuple[dict[int, int], dict[int, int]]:
    across, down = xs[-1] - xs[0], ys[-1] - ys[0]
    column_mm = max(across / max(width - 1, 1), down / max(height - 1, 1) / CELL_ASPECT, 1e-9)
    return (
        {line: round((place - xs[0]) / column_mm) for line, place in enumerate(xs)},
        {line: round((place - ys[0]) / column_mm / CELL_ASPECT) for line, place in enumerate(ys)},
    )


def _nearest(lines: Sequence[float], place: float) -> int:
    low, high = 0, len(lines) - 1
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if lines[middle] <= place + 1e-12 else (low, middle - 1)
    return low
