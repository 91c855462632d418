"""Which of many points stand near each other, without comparing every pair: points sorted into square cells."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from controller.settings.job import Point


class Cells:
    """Points in square cells of a given side (mm, more than 0)."""

    def __init__(self, points: Sequence[Point], side_mm: float) -> None:
        self._points = points
        self._side = side_mm
        self._cells: dict[tuple[int, int], list[int]] = {}
        for place, point in enumerate(points):
            self._cells.setdefault(self._cell(point), []).append(place)

    def within(self, point: Point, distance_mm: float) -> list[int]:
        """The numbers of the points nearer than a distance, ascending."""
        reach = math.ceil(distance_mm / self._side)
        return sorted(
            place for place in self._around(point, reach) if math.dist(self._points[place], point) < distance_mm
        )

    def nearest(self, point: Point, count: int, but: int = -1) -> list[int]:
        """The numbers of the nearest points, nearest first, leaving out one of them; equal distances by number."""
        found: list[int] = []
        for reach in range(1, self._widest() + 2):
            found = [place for place in self._around(point, reach) if place != but]
            if len(found) >= count:
                break
        return sorted(found, key=lambda place: (math.dist(self._points[place], point), place))[:count]

    def _cell(self, point: Point) -> tuple[int, int]:
        return (math.floor(point[0] / self._side), math.floor(point[1] / self._side))

    def _widest(self) -> int:
        columns = [column for column, _ in self._cells]
        rows = [row for _, row in self._cells]
        return max(max(columns) - min(columns), max(rows) - min(rows)) if columns else 0

    def _around(self, point: Point, reach: int) -> Iterator[int]:
        column, row = self._cell(point)
        for x in range(column - reach, column + reach + 1):
            for y in range(row - reach, row + reach + 1):
                yield from self._cells.get((x, y), ())
