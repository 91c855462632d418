"""The baseline that the controller is held against: a constant feed, a fixed retreat, no measuring.

What a maker would write in an evening, and what the default plant must be hard for: touch the work once; at every hole
go down at a constant speed, back off by a fixed amount when the gap stays low for long, stop at a fixed axis depth, and
call for help when backing off again and again is of no use. It has the controller's interface and sees no more of the
machine than the controller does.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass, field

from controller.core.commands import Command, Home, Move, Output, Switch
from controller.core.events import Event, HoleFinished, HoleStarted, PromptAnswered, PromptRaised, RunEnded
from controller.core.observation import Observation
from controller.core.requests import Answer, Request
from controller.plan.plan import Plan, PlannedHole
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM

# The servo, as the plant's own tests drive it: the best constant feed for 1 mm of steel (chosen so that it is no slower
# than it has to be), and a low of 25 ms is longer than any spark pause (1–10 ms, electrics.md).
FEED_UM_S, LOW_MS, RETREAT_UM = 30.0, 25, 40.0
# Before the first spark it may go faster.
APPROACH_UM_S = 200.0
# Allowance for wear beyond the plate's thickness: some one and a half holes' wear. Common
# practice, no source.
ALLOWANCE_UM = 300.0
# A low that goes on is answered again after a while; when nothing helps the electrode is stuck. Common practice, no
# source.
AGAIN_MS, HELP_AFTER_MS = 200, 2000
# Two lows within this time are sparks; one may be a drop-out of the source.
IGNITED_S = 0.1
# Move speed of single feeds and retreats, travel and touch speeds (um/s), start room above the last known face (um).
QUICK_UM_S, TRAVEL_UM_S, TOUCH_UM_S, ROOM_UM = 5000.0, 20_000.0, 500.0, 500.0
# Low and open readings of the clamp front end (counts of 1023 for 5 V): half of the 3 V plateau, half of the 5 V feed.
LOW_COUNT, OPEN_COUNT = 307, 512
SETTLE_S = 0.3

Cycle = Generator[list[Command], None, None]


@dataclass(slots=True)
class Ticked:
    """What one tick brought."""

    commands: list[Command] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)


class BaselineController:
    """Constant feed, fixed retreat, fixed depth."""

    # It never says when it rests.
    rests_until_s = 0.0

    def __init__(self, machine: Machine, job: Job, plan: Plan) -> None:
        self.waiting: PromptRaised | None = None
        self.gap_state = "open"
        self._tick_s = 1.0 / machine.tick_hz
        self._machine, self._job, self._plan = machine, job, plan
        self._seen: Observation
        self._requests: Sequence[Request] = ()
        self._events: list[Event] = []
        self._low_ms = 0
        self._ignited, self._quiet_s = False, IGNITED_S
        self._face_um: float | None = None
        self._first_um: float | None = None
        self._prompts = 0
        self._cycle = self._program()

    def tick(self, seen: Observation, requests: Sequence[Request] = ()) -> Ticked:
        """Take one observation; return what to do and what happened."""
        out = Ticked()
        self._seen, self._requests, self._events = seen, requests, out.events
        self._quiet_s += self._tick_s
        for sample in seen.samples:
            if sample >= LOW_COUNT:
                self._low_ms = 0
                continue
            if self._low_ms == 0:
                self._ignited = self._ignited or self._quiet_s < IGNITED_S
                self._quiet_s = 0.0
            self._low_ms += 1
        out.commands = next(self._cycle, [])
        return out

    def _program(self) -> Cycle:
        yield [Home()]
        while not self._seen.homed or self._seen.queued:
            yield []
        for hole in self._plan.holes:
            yield from self._hole(hole)
        self._events.append(RunEnded(self._seen.time_s, "complete", ""))
        yield []

    def _hole(self, hole: PlannedHole) -> Cycle:
        start_s = self._seen.time_s
        self._events.append(HoleStarted(start_s, hole.index, hole.x_mm, hole.y_mm, 0.0, 0.0))
        x_um, y_um = hole.x_mm * UM_PER_MM, hole.y_mm * UM_PER_MM
        yield from self._go(x_um, y_um, self._clear_um(), TRAVEL_UM_S)
        if self._face_um is None:
            yield from self._touch()
        self._first_um = None
        while not (yield from self._drill()):
            yield from self._ask(hole)
        depth_mm = (self._job.work.thickness_mm * UM_PER_MM + ALLOWANCE_UM) / UM_PER_MM
        now_s = self._seen.time_s
        self._events.append(
            HoleFinished(
                now_s, hole.index, hole.x_mm, hole.y_mm, "through", "", start_s, now_s - start_s, now_s - start_s,
                depth_mm, 0.0, 0.0, self._job.holes.diameter_mm, self._job.holes.tolerance_mm, 0, 0,
            )
        )  # fmt: skip

    def _clear_um(self) -> float:
        top_um = self._machine.axes.travel_max_mm[2] * UM_PER_MM
        if self._face_um is None:
            return top_um
        return min(self._face_um + self._machine.work_place.clear_height_mm * UM_PER_MM, top_um)

    def _touch(self) -> Cycle:
        """Find the work's face once, on the sensing path: down until the reading is no longer open."""
        yield [Switch(Output.SENSING, True)]
        yield from self._pause(SETTLE_S)
        while not self._seen.samples or self._seen.samples[-1] > OPEN_COUNT:
            yield [self._to(self._seen.z_um - TOUCH_UM_S * self._tick_s, TOUCH_UM_S)] if not self._seen.queued else []
        self._face_um = self._seen.z_um
        yield [Switch(Output.SENSING, False)]
        yield from self._go(self._seen.x_um, self._seen.y_um, self._face_um + ROOM_UM, QUICK_UM_S)

    def _drill(self) -> Generator[list[Command], None, bool]:
        """Erode to the fixed depth below the first spark; False when the retreat is of no use."""
        assert self._face_um is not None
        yield from self._go(self._seen.x_um, self._seen.y_um, self._face_um + ROOM_UM, QUICK_UM_S)
        yield from self._energise()
        depth_um = self._job.work.thickness_mm * UM_PER_MM + ALLOWANCE_UM
        target_um, answered_ms = self._seen.z_um, 0
        self._low_ms, self._ignited, self._quiet_s = 0, False, IGNITED_S
        # A hole tried again is already begun: its first spark now would be at its bottom.
        while self._first_um is None or target_um > self._first_um - depth_um:
            if self._first_um is None and self._ignited:
                self._first_um = self._face_um = target_um
            if self._low_ms > answered_ms + (AGAIN_MS if answered_ms else LOW_MS):
                target_um, answered_ms = target_um + RETREAT_UM, self._low_ms
            if self._low_ms > HELP_AFTER_MS:
                return False
            if any(sample >= LOW_COUNT for sample in self._seen.samples):
                answered_ms = 0
                target_um -= (APPROACH_UM_S if self._first_um is None else FEED_UM_S) * self._tick_s
            yield [self._to(target_um, QUICK_UM_S)]
        yield from self._leave()
        return True

    def _energise(self) -> Cycle:
        yield [Switch(Output.WATER, True)]
        while not self._seen.flow:
            yield []
        yield [Switch(Output.SOURCE, True)]
        while self._seen.contact_open:
            yield []
        yield from self._pause(SETTLE_S)

    def _leave(self) -> Cycle:
        yield from self._go(self._seen.x_um, self._seen.y_um, self._clear_um(), QUICK_UM_S)
        yield [Switch(Output.SOURCE, False)]
        while not self._seen.contact_open:
            yield []
        yield [Switch(Output.WATER, False)]
        yield from self._pause(SETTLE_S)

    def _ask(self, hole: PlannedHole) -> Cycle:
        """The electrode is stuck: everything off, then wait for the operator."""
        yield [Switch(Output.SOURCE, False)]
        yield from self._pause(SETTLE_S)
        yield [Switch(Output.WATER, False)]
        yield from self._pause(SETTLE_S)
        self._prompts += 1
        words = "the electrode is stuck", "free it", "the hole is tried again"
        self.waiting = PromptRaised(
            self._seen.time_s, self._prompts, "electrode-stuck", *words, ("done",), planned=False, hole=hole.index
        )
        self._events.append(self.waiting)
        while self.waiting is not None:
            yield []
            for request in self._requests:
                if isinstance(request, Answer):
                    self._events.append(PromptAnswered(self._seen.time_s, request.prompt, request.choice, ""))
                    self.waiting = None
        yield from self._go(self._seen.x_um, self._seen.y_um, self._clear_um(), QUICK_UM_S)

    def _go(self, x_um: float, y_um: float, z_um: float, speed_um_s: float) -> Cycle:
        """Lift if need be, go there, then down."""
        if z_um > self._seen.z_um:
            yield [self._to(z_um, QUICK_UM_S)]
            while self._seen.queued:
                yield []
        yield [Move(x_um, y_um, max(z_um, self._seen.z_um), speed_um_s), Move(x_um, y_um, z_um, QUICK_UM_S)]
        yield []
        while self._seen.queued:
            yield []

    def _to(self, z_um: float, speed_um_s: float) -> Move:
        return Move(self._seen.x_um, self._seen.y_um, z_um, speed_um_s)

    def _pause(self, seconds: float) -> Cycle:
        for _ in range(round(seconds / self._tick_s)):
            yield []
