"""Travel order: in which order the holes are drilled so that the table travels little.

Three ways to begin (as the job lists them; row by row, turning at each end; always to the nearest), the shortest of
them improved by turning stretches round (2-opt) and by moving single holes elsewhere (Or-opt) while either helps.
The path begins at a given place, the reference plate, and ends anywhere. It is never longer than the order of the job.
How long a way is, is told by whoever asks: straight, or around keep-outs.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from controller.plan.nearness import Cells
from controller.settings.job import Point

NEIGHBOURS = 10
"""Neighbours that an improvement is looked for among. Chosen so that a staggered grid's six and some beyond are in."""

SWEEPS = 12
"""Most rounds of improvement. Chosen so that thousands of scattered holes are ordered in seconds."""

LEAST_GAIN_MM = 1e-9
"""Gains below this are rounding (chosen so that equal orders never alternate for ever)."""


Length = Callable[[Point, Point], float]
"""How long the way between two places is (mm): the same both ways, never less than straight."""


def travel_order(points: Sequence[Point], start: Point, way: Length = math.dist) -> list[int]:
    """The numbers of the points in travel order, beginning from a place that is not one of them."""
    if not points:
        return []
    beginnings = (list(range(len(points))), _serpentine(points), _nearest_first(points, start))
    best = min(beginnings, key=lambda order: length_mm(points, order, start, way))
    return _Path(points, start, best, way).improved()


def spread_order(points: Sequence[Point], order: Sequence[int], apart_mm: float) -> list[int]:
    """An order in which the next hole is never nearer than a distance to the last, as far as can be.

    Always the nearest that is far enough; of equals the one that comes first in `order`. Where only near ones are left
    the furthest is taken.
    """
    left = list(order)
    spread = [left.pop(0)] if left else []
    while left:
        here = points[spread[-1]]
        lengths = [math.dist(points[place], here) for place in left]
        far = [(length, at) for at, length in enumerate(lengths) if length >= apart_mm]
        chosen = min(far)[1] if far else max(range(len(left)), key=lengths.__getitem__)
        spread.append(left.pop(chosen))
    return spread


def length_mm(points: Sequence[Point], order: Sequence[int], start: Point, way: Length = math.dist) -> float:
    """Length of the path from the start through the points."""
    path = [start, *(points[place] for place in order)]
    return sum(way(a, b) for a, b in pairwise(path))


def least_mm(points: Sequence[Point], start: Point) -> float:
    """A length that no order can beat: every place has two neighbours on the path, but for its two ends one.

    Half the sum of the two nearest distances of each place, the second left out where it could belong to an end.
    """
    nodes = [start, *points]
    if len(nodes) < 3:
        return sum(math.dist(start, point) for point in points)
    nearest = _two_nearest(nodes)
    return (sum(map(sum, nearest)) - nearest[0][1] - max(two[1] for two in nearest[1:])) / 2.0


def _two_nearest(nodes: Sequence[Point]) -> list[list[float]]:
    """The two smallest distances of each point to others (three points at least)."""
    side = _side(nodes)
    cells = Cells(nodes, side)
    found: list[list[float]] = []
    for number, node in enumerate(nodes):
        reach = side
        while len(near := cells.within(node, reach)) < 3:
            reach *= 2.0
        found.append(sorted(math.dist(node, nodes[other]) for other in near if other != number)[:2])
    return found


def _serpentine(points: Sequence[Point]) -> list[int]:
    """Row by row, turning at each end; a row is what the job lists without a jump back or aside."""
    rows: list[list[int]] = [[0]]
    for place in range(1, len(points)):
        row = rows[-1]
        if len(row) < 2 or _goes_on(points[row[-2]], points[row[-1]], points[place]):
            row.append(place)
        else:
            rows.append([place])
    return [place for turn, row in enumerate(rows) for place in (row if turn % 2 == 0 else reversed(row))]


def _goes_on(before: Point, last: Point, new: Point) -> bool:
    """True when the step to the new point has the direction of the step before (within about 25°: common practice)."""
    ahead = (last[0] - before[0]) * (new[0] - last[0]) + (last[1] - before[1]) * (new[1] - last[1])
    return ahead > 0.9 * math.dist(before, last) * math.dist(last, new)


def _nearest_first(points: Sequence[Point], start: Point) -> list[int]:
    cells = Cells(points, _side(points))
    near = [cells.nearest(point, NEIGHBOURS, place) for place, point in enumerate(points)]
    left = dict.fromkeys(range(len(points)))
    here, order = start, []
    candidates: Sequence[int] = ()
    while left:
        open_ones = [place for place in candidates if place in left] or left
        nearest = min(open_ones, key=lambda place: (math.dist(points[place], here), place))
        del left[nearest]
        order.append(nearest)
        here, candidates = points[nearest], near[nearest]
    return order


def _side(points: Sequence[Point]) -> float:
    """Side of a cell that holds about two points when they are spread evenly."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    spread = max(max(xs) - min(xs), max(ys) - min(ys))
    return max(spread * math.sqrt(2.0 / len(points)), 1e-3)


class _Path:
    """A path under improvement. Node 0 is the start and stays first; node n is point n - 1."""

    def __init__(self, points: Sequence[Point], start: Point, order: Sequence[int], way: Length) -> None:
        self._nodes = [start, *points]
        self._way = way
        self._known: dict[tuple[int, int], float] = {}
        self._path = [0, *(place + 1 for place in order)]
        cells = Cells(points, _side(points))
        self._near = [
            [place + 1 for place in cells.nearest(node, NEIGHBOURS, number - 1)]
            for number, node in enumerate(self._nodes)
        ]
        self._at = [0] * len(self._path)
        self._number(0, len(self._path))

    def improved(self) -> list[int]:
        """The order of the points once nothing more helps."""
        for _ in range(SWEEPS):
            turned = [self._turn_round(node) for node in range(len(self._nodes))]
            moved = [self._move_one(node) for node in range(1, len(self._nodes))]
            if not any(turned) and not any(moved):
                break
        return [node - 1 for node in self._path[1:]]

    def _number(self, first: int, end: int) -> None:
        for place in range(first, end):
            self._at[self._path[place]] = place

    def _gap(self, a: int, b: int | None) -> float:
        if b is None:
            return 0.0
        if self._way is math.dist:
            return math.dist(self._nodes[a], self._nodes[b])
        pair = (a, b) if a < b else (b, a)
        if pair not in self._known:
            self._known[pair] = self._way(self._nodes[pair[0]], self._nodes[pair[1]])
        return self._known[pair]

    def _after(self, node: int) -> int | None:
        place = self._at[node] + 1
        return self._path[place] if place < len(self._path) else None

    def _turn_round(self, a: int) -> bool:
        """2-opt: join a to a nearer node and turn the stretch between them round; True when it helped."""
        for b in self._near[a]:
            first, second = sorted((a, b), key=self._at.__getitem__)
            after_first, after_second = self._after(first), self._after(second)
            gain = (
                self._gap(first, after_first)
                + self._gap(second, after_second)
                - self._gap(first, second)
                - (0.0 if after_first is None else self._gap(after_first, after_second))
            )
            if gain > LEAST_GAIN_MM:
                low, high = self._at[first] + 1, self._at[second] + 1
                self._path[low:high] = self._path[low:high][::-1]
                self._number(low, high)
                return True
        return False

    def _move_one(self, a: int) -> bool:
        """Or-opt: take a out of its place and put it after a near node; True when it helped."""
        before, after = self._path[self._at[a] - 1], self._after(a)
        freed = self._gap(before, a) + self._gap(a, after) - (0.0 if after is None else self._gap(before, after))
        for b in (0, *self._near[a]):
            beyond = self._after(b)
            if a in (b, beyond):
                continue
            cost = self._gap(b, a) + (0.0 if beyond is None else self._gap(a, beyond) - self._gap(b, beyond))
            if freed - cost > LEAST_GAIN_MM:
                low, high = sorted((self._at[a], self._at[b]))
                self._path.remove(a)
                self._at[b] = self._path.index(b)
                self._path.insert(self._at[b] + 1, a)
                self._number(low, min(high + 2, len(self._path)))
                return True
        return False
