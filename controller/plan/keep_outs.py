"""Keep-outs: what stands in the way of the electrode, and the way from place to place around or over it.

A keep-out is a rectangle with a height: a clamp on the work, a post or a hose on the table. The electrode travels at
one height and passes freely over whatever stays well below its tip. What stands higher is gone around along its
corners, or passed over by lifting, whichever takes less time. Ways are counted as lengths: a lift counts as far as the
table would have gone meanwhile.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from controller.plan.frame import Frame
from controller.settings.job import Job, Point
from controller.settings.machine import Machine

ROD_MARGIN_MM: Final = 1.0
"""Room beside the electrode. Chosen: run-out, a bent rod and a clamp that was laid by eye."""

SIGMAS: Final = 2.0
"""Standard uncertainties of the face's height by which what stands on it may be higher."""

OVER_MM: Final = 2.0
"""Room between the tip and what it passes over. Chosen: twice the room beside it, since heights are taken by eye."""

CORNER_MM: Final = 1e-6
"""How far beyond a corner a way leads, so that walking along a side is no crossing of it."""


@dataclass(slots=True, frozen=True)
class Obstacle:
    """One keep-out in the machine frame: its corners (mm, in order round it), its top (mm), and its name."""

    name: str
    corners: tuple[Point, ...]
    top_mm: float

    def grown(self, by_mm: float) -> Obstacle:
        """The same with every side moved outward; the corners stay square."""
        return Obstacle(self.name, tuple(_outset(self.corners, by_mm)), self.top_mm)

    def holds(self, point: Point) -> bool:
        """True when the place lies inside, the rim not counted."""
        return all(_side(a, b, point) > 0.0 for a, b in _sides(self.corners))

    def distance_mm(self, point: Point) -> float:
        """Distance of a place from the rectangle, 0 inside."""
        return 0.0 if self.holds(point) else min(_from_side(a, b, point) for a, b in _sides(self.corners))

    def crosses(self, a: Point, b: Point) -> bool:
        """True when the straight way from a to b leads through the inside."""
        enter, leave = 0.0, 1.0
        for corner, following in _sides(self.corners):
            before, after = _side(corner, following, a), _side(corner, following, b)
            if before <= 0.0 and after <= 0.0:
                return False
            if before < 0.0 or after < 0.0:
                share = before / (before - after)
                enter, leave = (max(enter, share), leave) if before < 0.0 else (enter, min(leave, share))
        return leave - enter > 1e-12  # rounding; a way along the rim is no crossing


@dataclass(slots=True, frozen=True)
class Leg:
    """One straight part of a way: where it ends and how high the tip must be on it (machine frame, mm)."""

    to: Point
    tip_mm: float


@dataclass(slots=True, frozen=True)
class Ways:
    """The ways among keep-outs.

    Attributes:
        obstacles: What stands in the way at travel height, grown by what has to pass.
        tip_mm: Height of the tip when it travels.
        highest_mm: The highest the tip can be lifted.
        lift_costs: Millimetres of table travel that take as long as one millimetre of lift or descent.
    """

    obstacles: tuple[Obstacle, ...]
    tip_mm: float
    highest_mm: float
    lift_costs: float

    def length_mm(self, a: Point, b: Point) -> float:
        """How long the way is, lifts counted; infinite when there is none."""
        if not self.obstacles or not self._met(a, b):
            return math.dist(a, b)
        return self._best(a, b)[0]

    def legs(self, a: Point, b: Point) -> list[Leg]:
        """The way, leg by leg; empty when there is none."""
        return self._best(a, b)[1] if self._met(a, b) else [Leg(b, self.tip_mm)]

    def _met(self, a: Point, b: Point) -> list[Obstacle]:
        return [obstacle for obstacle in self.obstacles if obstacle.crosses(a, b)]

    def _best(self, a: Point, b: Point) -> tuple[float, list[Leg]]:
        over_mm = max(obstacle.top_mm for obstacle in self._met(a, b)) + OVER_MM
        over: tuple[float, list[Leg]] = (math.inf, [])
        if over_mm <= self.highest_mm:
            over = (math.dist(a, b) + 2.0 * self.lift_costs * (over_mm - self.tip_mm), [Leg(b, over_mm)])
        corners = self._around(a, b)
        if corners is None:
            return over
        length = sum(math.dist(p, q) for p, q in pairwise([a, *corners]))
        return min(over, (length, [Leg(corner, self.tip_mm) for corner in corners]), key=lambda way: way[0])

    def _around(self, a: Point, b: Point) -> list[Point] | None:
        """The shortest way along corners, its end included; None where there is none (Dijkstra, visibility graph)."""
        nodes = [a, b, *(corner for each in self.obstacles for corner in each.grown(CORNER_MM).corners)]
        far = {0: 0.0}
        before: dict[int, int] = {}
        queue = [(0.0, 0)]
        done: set[int] = set()
        while queue:
            length, node = heapq.heappop(queue)
            if node == 1:
                break
            if node in done:
                continue
            done.add(node)
            for other, place in enumerate(nodes):
                if other in done or self._met(nodes[node], place):
                    continue
                reached = length + math.dist(nodes[node], place)
                if reached < far.get(other, math.inf):
                    far[other], before[other] = reached, node
                    heapq.heappush(queue, (reached, other))
        if 1 not in far:
            return None
        way, node = [b], before[1]
        while node:
            way.append(nodes[node])
            node = before[node]
        return way[::-1]


def obstacles(job: Job | None, machine: Machine) -> list[Obstacle]:
    """Every keep-out of the machine and of the job, in the machine frame, as it stands."""
    place = machine.work_place
    found = [Obstacle(each.name, _box(each.from_mm, each.to_mm), each.height_mm) for each in machine.keep_out]
    if job is not None:
        frame = Frame.of(place)
        for each in job.work.keep_out:
            corners = tuple(frame.to_machine(corner) for corner in _box(each.from_mm, each.to_mm))
            face_mm = place.surface_height_mm + max(frame.rise_mm(corner) for corner in _box(each.from_mm, each.to_mm))
            top_mm = face_mm + SIGMAS * place.surface_height_u_mm + each.above_mm
            found.append(Obstacle(each.name, corners, top_mm))
    return found


def ways(job: Job, machine: Machine) -> Ways:
    """The ways of a job as they can be foreseen: heights by the files, the electrode at its longest."""
    place, holder, axes = machine.work_place, machine.holder, machine.axes
    tip_mm = max(place.surface_height_mm, machine.reference_plate.height_mm) + place.clear_height_mm
    grown = travel_obstacles(obstacles(job, machine), job.electrode.diameter_mm, tip_mm, machine)
    highest = axes.travel_max_mm[2] - holder.protrusion_mm
    return Ways(tuple(grown), tip_mm, highest, lift_costs(machine))


def travel_obstacles(standing: Sequence[Obstacle], rod_mm: float, tip_mm: float, machine: Machine) -> list[Obstacle]:
    """What stands in the way of a tip at this height, grown by the rod, or by the holder where it is so high."""
    holder_mm = tip_mm + machine.holder.min_protrusion_mm
    return [
        each.grown(ROD_MARGIN_MM + (machine.holder.radius_mm if each.top_mm > holder_mm else rod_mm / 2.0))
        for each in standing
        if each.top_mm > tip_mm - OVER_MM
    ]


def lift_costs(machine: Machine) -> float:
    """Millimetres of table travel in the time of a millimetre of lift, at top speeds."""
    return min(machine.axes.top_speed_mm_s[:2]) / machine.axes.top_speed_mm_s[2]


def _box(a: Point, b: Point) -> tuple[Point, ...]:
    """Corners of the rectangle between two places, anticlockwise."""
    (left, right), (low, high) = sorted((a[0], b[0])), sorted((a[1], b[1]))
    return ((left, low), (right, low), (right, high), (left, high))


def _sides(corners: Sequence[Point]) -> list[tuple[Point, Point]]:
    return list(zip(corners, (*corners[1:], corners[0]), strict=True))


def _side(a: Point, b: Point, point: Point) -> float:
    """Above 0 when the point lies to the left of the line from a to b: inside, corners going round anticlockwise."""
    return (b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0])


def _from_side(a: Point, b: Point, point: Point) -> float:
    length_2 = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2
    along = ((point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])) / length_2
    share = min(max(along, 0.0), 1.0)
    return math.dist(point, (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))


def _outset(corners: Sequence[Point], by_mm: float) -> list[Point]:
    """A rectangle's corners moved outward along both sides that meet there."""
    middle_x = sum(x for x, _ in corners) / len(corners)
    middle_y = sum(y for _, y in corners) / len(corners)
    (ax, ay), (bx, by), (_, _), (dx, dy) = corners
    along, across = math.dist((ax, ay), (bx, by)), math.dist((ax, ay), (dx, dy))
    u = ((bx - ax) / along, (by - ay) / along)
    v = ((dx - ax) / across, (dy - ay) / across)
    half_u, half_v = along / 2.0 + by_mm, across / 2.0 + by_mm
    return [
        (middle_x + s * half_u * u[0] + t * half_v * v[0], middle_y + s * half_u * u[1] + t * half_v * v[1])
        for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
