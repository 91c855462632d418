"""A motion board's planner: a queue of straight moves, looked ahead over, cut into segments of whole steps.

The problem. A board does not step what it was sent; it steps *segments*: short stretches at one constant rate that were
computed ahead from the queue as it stood then. What has become a segment can't be taken back. Two families differ in
how much that is: one keeps a few segments of about ten milliseconds ahead of the motor, the other works on a whole move
once it was begun. Both join collinear moves at speed, and stand still where the next move turns.

The rules kept here. Steps fall into segments whole, at least one each. No segment is slower than the slowest step rate.
The last move in the queue always ends at standstill, so whatever was prepared of it is a braking that a move sent too
late can't undo.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import inf, sqrt

from sim.boards.ramp import Ramp

Steps = tuple[int, int, int]
Triple = tuple[float, float, float]

# Share of a segment's step interval after which its first step falls: the rate counter starts half full and is counted
# up in eighths. Chosen so that a retract starts as measured (wires.md): 2.5-2.8 ms after its line at 500 mm/s² or
# more, 6-7 ms at 50.
FIRST_STEP_SHARE = 0.375
# Moves whose directions agree this well (cosine) are joined at speed. Chosen: rounding of short moves to whole steps
# turns the others by more.
COLLINEAR = 0.9999
# Way counts as covered when this share of a step is missing: rounding of floats.
NEARLY = 1e-6


@dataclass(slots=True)
class Limits:
    """What the board's own settings say of its axes."""

    steps_per_mm: Triple
    top_mm_s: Triple
    acceleration_mm_s2: Triple


def plus(a: Steps, b: Steps) -> Steps:
    """Sum of two counts of steps."""
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def minus(a: Steps, b: Steps) -> Steps:
    """Difference of two counts of steps."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


class Move:
    """One straight move in the queue.

    Attributes:
        delta: Steps to go, per axis (not all zero).
        count: Steps of the axis that goes furthest.
        length_mm, step_mm: Length of the line, and of it for each step of that axis.
        nominal_mm_s, acceleration_mm_s2: Along the line.
        ready_s: Not begun before this moment.
        entry_mm_s: Planned speed at its beginning; `joint_mm_s` is the most its direction allows.
    """

    __slots__ = (
        "acceleration_mm_s2", "count", "delta", "direction", "entry_mm_s", "joint_mm_s", "length_mm", "nominal_mm_s",
        "ready_s", "step_mm",
    )  # fmt: skip

    def __init__(self, delta: Steps, feed_mm_s: float, limits: Limits, ready_s: float) -> None:
        ways_mm = [d / per_mm for d, per_mm in zip(delta, limits.steps_per_mm, strict=True)]
        self.delta = delta
        self.count = max(abs(d) for d in delta)
        self.length_mm = sqrt(sum(way * way for way in ways_mm))
        self.step_mm = self.length_mm / self.count
        self.direction = tuple(way / self.length_mm for way in ways_mm)
        shares = [(abs(part), axis) for axis, part in enumerate(self.direction) if part]
        self.nominal_mm_s = min(feed_mm_s, *(limits.top_mm_s[axis] / part for part, axis in shares))
        self.acceleration_mm_s2 = min(limits.acceleration_mm_s2[axis] / part for part, axis in shares)
        self.ready_s = ready_s
        self.entry_mm_s = self.joint_mm_s = 0.0

    def after(self, done: int) -> Steps:
        """Steps of each axis when `done` steps of the leading one are done."""
        twice = 2 * self.count
        x, y, z = ((2 * abs(d) * done + self.count) // twice * (1 if d >= 0 else -1) for d in self.delta)
        return x, y, z


class Segment:
    """Steps `first` (out) to `last` (in) of a move at one rate."""

    __slots__ = ("end_s", "first", "interval_s", "last", "move", "start_s")

    def __init__(self, move: Move, first: int, last: int, start_s: float, end_s: float) -> None:
        self.move, self.first, self.last = move, first, last
        self.start_s, self.end_s = start_s, end_s
        self.interval_s = (end_s - start_s) / (last - first)

    def done(self, at_s: float) -> int:
        """Steps of the move done at a moment within the segment."""
        if at_s >= self.end_s:
            return self.last
        fallen = int((at_s - self.start_s) / self.interval_s + 1.0 - FIRST_STEP_SHARE)
        return self.first + max(0, min(fallen, self.last - self.first))

    @property
    def speed_mm_s(self) -> float:
        """Speed along the line."""
        return self.move.step_mm / self.interval_s


class Planner:
    """Queue, look-ahead, segments and the steps done.

    Args:
        limits: The board's own axis settings; read anew for every move.
        slots: Moves the queue holds.
        segment_s: Length of a segment (s), unless not one step falls into it.
        ahead: Segments prepared beyond the running one.
        slowest_steps_s: Slowest step rate.
        whole_moves: A move's end speed is fixed when its first segment is prepared.

    Attributes:
        steps: Steps done since power-up, per axis.
        planned: The same once all that waits is done.
        moves: Moves not yet wholly cut into segments.
    """

    __slots__ = (
        "_ahead", "_base", "_cut", "_exit_mm_s", "_holding", "_now_s", "_segment_s", "_segments", "_slots",
        "_slowest_steps_s", "_speed_mm_s", "_whole_moves", "limits", "moves", "planned", "steps",
    )  # fmt: skip

    def __init__(
        self, limits: Limits, slots: int, segment_s: float, ahead: int, slowest_steps_s: float, *, whole_moves: bool
    ) -> None:
        self.limits = limits
        self._slots = slots
        self._segment_s = segment_s
        self._ahead = ahead
        self._slowest_steps_s = slowest_steps_s
        self._whole_moves = whole_moves
        self.moves: deque[Move] = deque()
        self._segments: deque[Segment] = deque()
        self.steps: Steps = (0, 0, 0)
        self.planned: Steps = (0, 0, 0)
        self._base: Steps = (0, 0, 0)
        self._cut = 0
        self._speed_mm_s = 0.0
        self._exit_mm_s = -1.0
        self._holding = False
        self._now_s = 0.0

    # -- the queue ------------------------------------------------------------------------------------------------

    @property
    def free(self) -> int:
        """Moves the queue still takes; boards that work on whole moves count the running one."""
        return self._slots - self.queued

    @property
    def queued(self) -> int:
        """Moves that take a slot of the queue."""
        running = self._segments[-1].move if self._whole_moves and self._segments else None
        return len(self.moves) + (running is not None and running not in self.moves)

    @property
    def moving(self) -> bool:
        """Segments run now."""
        return bool(self._segments)

    @property
    def empty(self) -> bool:
        """Nothing runs and nothing waits."""
        return not self._segments and not self.moves

    @property
    def held(self) -> bool:
        """A hold has come to standstill."""
        return self._holding and not self._segments

    @property
    def holding(self) -> bool:
        """A hold was asked for and not yet ended."""
        return self._holding

    @property
    def speed_mm_s(self) -> float:
        """Speed along the line now."""
        return self._segments[0].speed_mm_s if self._segments else 0.0

    def plan(self, delta: Steps, feed_mm_s: float, ready_s: float) -> Move:
        """A move made of the limits as they are now; not yet in the queue."""
        move = Move(delta, feed_mm_s, self.limits, ready_s)
        move.nominal_mm_s = max(move.nominal_mm_s, self._slowest_steps_s * move.step_mm)
        return move

    def append(self, move: Move) -> None:
        """Put a move into the queue and look ahead over it."""
        if self.moves:
            last = self.moves[-1]
            along = sum(a * b for a, b in zip(last.direction, move.direction, strict=True))
            move.joint_mm_s = min(last.nominal_mm_s, move.nominal_mm_s) if along > COLLINEAR else 0.0
        self.moves.append(move)
        self.planned = plus(self.planned, move.delta)
        exit_mm_s = 0.0
        for later in reversed(self.moves):
            reachable = sqrt(exit_mm_s * exit_mm_s + 2.0 * later.acceleration_mm_s2 * later.length_mm)
            later.entry_mm_s = exit_mm_s = min(later.joint_mm_s, reachable)

    def hold(self) -> None:
        """Brake once the prepared segments have run."""
        self._holding = True

    def resume(self) -> None:
        """Go on after a hold."""
        self._holding = False

    def drop(self) -> None:
        """Forget what waits and what runs; the motors stand where they stand."""
        self.moves.clear()
        self._segments.clear()
        self._base = self.planned = self.steps
        self._cut = 0
        self._speed_mm_s, self._exit_mm_s = 0.0, -1.0
        self._holding = False

    # -- time -----------------------------------------------------------------------------------------------------

    @property
    def next_s(self) -> float:
        """When the queue's state changes next by itself."""
        ends_s = self._segments[0].end_s if self._segments else inf
        return min(ends_s, self._next_start_s())

    def run(self, to_s: float) -> None:
        """Carry out everything up to a moment."""
        while True:
            event_s = self.next_s
            if event_s > to_s:
                break
            self._now_s = max(self._now_s, event_s)
            if self._segments and self._segments[0].end_s <= event_s:
                self._finish(self._segments.popleft())
            while self._next_start_s() <= self._now_s:
                self._prepare()
        self._now_s = to_s
        if self._segments:
            running = self._segments[0]
            self._stand(running.move, running.done(to_s))

    def _next_start_s(self) -> float:
        """When the next segment will be prepared, inf when none can be."""
        if not self.moves or len(self._segments) > self._ahead:
            return inf
        if self._holding and self._speed_mm_s <= 0.0:
            return inf
        return self.moves[0].ready_s

    def _stand(self, move: Move, done: int) -> None:
        self.steps = plus(self._base, move.after(done))

    def _finish(self, segment: Segment) -> None:
        self._stand(segment.move, segment.last)
        if segment.last == segment.move.count:
            self._base = self.steps

    def _prepare(self) -> None:
        """Cut the next segment off the first move."""
        move = self.moves[0]
        ramp = self._ramp(move)
        left = move.count - self._cut
        whole = int(ramp.way_mm(min(self._segment_s, ramp.total_s)) / move.step_mm + NEARLY)
        whole = min(max(whole, 1), left)
        if self._holding and ramp.way_mm(ramp.total_s) < (1.0 - NEARLY) * move.step_mm:
            self._speed_mm_s = 0.0  # what is left of the braking is less than a step
            return
        takes_s = ramp.time_s(whole * move.step_mm)
        self._speed_mm_s = ramp.speed_mm_s(takes_s)
        takes_s = min(takes_s, whole / self._slowest_steps_s)
        start_s = self._segments[-1].end_s if self._segments else self._now_s
        self._segments.append(Segment(move, self._cut, self._cut + whole, start_s, start_s + takes_s))
        self._cut += whole
        if self._cut == move.count:
            self.moves.popleft()
            self._cut, self._exit_mm_s = 0, -1.0

    def _ramp(self, move: Move) -> Ramp:
        """Speed over what is left of a move, as far as it is planned now."""
        if self._holding:
            return Ramp.braking(self._speed_mm_s, move.acceleration_mm_s2)
        if self._exit_mm_s < 0.0 or not self._whole_moves:
            self._exit_mm_s = self.moves[1].entry_mm_s if len(self.moves) > 1 else 0.0
        left_mm = (move.count - self._cut) * move.step_mm
        return Ramp(left_mm, self._speed_mm_s, move.nominal_mm_s, self._exit_mm_s, move.acceleration_mm_s2)
