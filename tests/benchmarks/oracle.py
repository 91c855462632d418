"""The oracle: a servo that knows the true gap and keeps it at a constant set point.

It drives the same virtual machine through the same commands as the controller: same tick, same board with its queue
and delays, same axis limits and motor steps, same lost motion and stick-slip. What it knows beyond any wire: the true
gap, where in its play the axis stands, whether metal or debris bridges the gap now, and when the hole is at full size.

It moves at once by `gain` of the error (1: all of it), what is still queued taken off. At a true short it lifts, play
and all, and comes straight back when the short is over. A drop-out changes no gap, so it is ridden out by itself. A gap
that is too narrow but not shorted is left to open by erosion: backing off from it was tried and never changed a hole
time.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass, field
from math import inf

from controller.core.commands import Command, Home, Move, Output, Switch
from controller.core.events import Event, HoleStarted, PromptRaised, RunEnded
from controller.core.observation import Observation
from controller.core.requests import Request
from controller.plan.plan import Plan, PlannedHole
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.machine import VirtualMachine
from sim.settings import PlantSettings
from sim.truth import full_diameter_um
from tests.benchmarks.score import UNDERSIZE_MM

# Fast moves of the servo (um/s) and the way it may send in one tick (um): the axis' own limits are tighter for short
# moves. Chosen: what an axis of 300 mm/s² does in a tick, from rest to rest, is less.
FAST_UM_S, MOST_UM = 10_000.0, 60.0
# Nothing below any more, or the face still far away: so far a tick (um). Chosen: as the ideal servo of `sim.truth`.
FREE_UM = 3.0
# Above the face when the source is put on, and above the plate when travelling (um). Chosen.
START_UM, CLEAR_UM = 300.0, 5000.0
SETTLE_S = 0.3
# How often the hole is asked whether it is at full size (ticks). Chosen: a tenth of a second.
LOOK_TICKS = 10

Cycle = Generator[list[Command], None, None]


@dataclass(slots=True, frozen=True)
class Tuning:
    """One point of the sweep: the gap kept, the share of the error moved at once, the lift from a true short."""

    gap_um: float
    gain: float
    lift_um: float


@dataclass(slots=True)
class Ticked:
    """What one tick brought."""

    commands: list[Command] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)


def at_full_size(virtual: VirtualMachine, job: Job, plant: PlantSettings, seed: int, hole: int) -> bool:
    """True when a hole's true exit is what `score.py` calls full size."""
    truth = virtual.truth.holes.get(hole)
    if truth is None or not truth.through or truth.depth_um[0] < truth.thickness_um:
        return False
    rod_um, bore_um = job.electrode.diameter_mm * UM_PER_MM, job.electrode.bore_mm * UM_PER_MM
    full_um = full_diameter_um(plant, truth.thickness_um, rod_um, virtual.truth.dirt, seed, bore_um)
    return truth.exit_diameter_um() >= full_um - UNDERSIZE_MM * UM_PER_MM


class Oracle:
    """The core that cheats; `virtual` is put in once the rehearsal has made it."""

    # It never says when it rests.
    rests_until_s = 0.0

    def __init__(
        self, machine: Machine, job: Job, plan: Plan, plant: PlantSettings, seed: int, tuning: Tuning, limit_s: float
    ) -> None:
        self.waiting: PromptRaised | None = None
        self.gap_state = "open"
        self.virtual: VirtualMachine
        self._machine, self._job, self._plan, self._plant = machine, job, plan, plant
        self._seed, self._tuning, self._limit_s = seed, tuning, limit_s
        self._tick_s = 1.0 / machine.tick_hz
        self._step_um = UM_PER_MM / machine.axes.steps_per_mm[2]
        self._seen: Observation
        self._events: list[Event] = []
        self._sent_um = 0.0
        # The face stands at the motor after a way down and nowhere above it but for friction: the most that it was ever
        # above the ledger is what the ledger is off.
        self._off_um = -inf
        self._cycle = self._program()

    def tick(self, seen: Observation, requests: Sequence[Request] = ()) -> Ticked:
        """Take one observation (and look behind the wires); return what to do."""
        out = Ticked()
        self._seen, self._events = seen, out.events
        if seen.homed:
            self._off_um = max(self._off_um, self.virtual.truth.face_mm[2] * UM_PER_MM - seen.z_um)
        out.commands = next(self._cycle, [])
        return out

    # -- the program ----------------------------------------------------------------------------------------------

    def _program(self) -> Cycle:
        yield [Home()]
        yield []
        while not self._seen.homed or self._seen.queued:
            yield []
        for hole in self._plan.holes:
            yield from self._hole(hole)
        self._events.append(RunEnded(self._seen.time_s, "complete", ""))
        yield []

    def _hole(self, hole: PlannedHole) -> Cycle:
        truth = self.virtual.truth
        face_mm = truth.surface_mm(hole.x_mm, hole.y_mm) + truth.tip_length_mm
        self._events.append(HoleStarted(self._seen.time_s, hole.index, hole.x_mm, hole.y_mm, truth.tip_length_mm, 0.0))
        yield from self._go(hole, face_mm * UM_PER_MM + CLEAR_UM)
        yield from self._go(hole, face_mm * UM_PER_MM + START_UM)
        yield [Switch(Output.WATER, True)]
        while not self._seen.flow:
            yield []
        yield [Switch(Output.SOURCE, True)]
        yield from self._pause()
        yield from self._erode(hole)
        yield from self._go(hole, face_mm * UM_PER_MM + CLEAR_UM)
        yield [Switch(Output.SOURCE, False)]
        yield from self._pause()
        yield [Switch(Output.WATER, False)]
        yield from self._pause()

    def _erode(self, hole: PlannedHole) -> Cycle:
        began_s, ticks = self._seen.time_s, 0
        self._sent_um = self._seen.z_um
        while self._seen.time_s - began_s < self._limit_s:
            ticks += 1
            if ticks % LOOK_TICKS == 0 and at_full_size(self.virtual, self._job, self._plant, self._seed, hole.index):
                return
            yield self._servo()

    # -- the servo ------------------------------------------------------------------------------------------------

    def _servo(self) -> list[Command]:
        erosion = self.virtual.truth.erosion
        if erosion.in_contact or erosion.bridged:
            return [] if self._seen.queued else self._up(self._tuning.lift_um)
        if self._seen.queued > 1:
            return []
        gap_um = erosion.gap_um
        if gap_um == inf:
            return self._down(FREE_UM)
        queued_um = max(self._seen.z_um - self._sent_um, 0.0)
        error_um = gap_um - queued_um - self._tuning.gap_um
        return self._down(min(self._tuning.gain * error_um, MOST_UM))

    def _down(self, by_um: float) -> list[Command]:
        """Let the face down by this much; what play it has is taken up on top, unless that is queued already."""
        slack_um = 0.0 if self._seen.queued else self._slack_um()
        return self._to(self._sent_um - by_um - slack_um) if by_um >= self._step_um else []

    def _up(self, by_um: float) -> list[Command]:
        """Lift the face by this much, and the motor by what play is left above it."""
        play_um = max(self._plant.axes.backlash_um - self._slack_um(), 0.0)
        return self._to(self._seen.z_um + by_um + play_um) if by_um >= self._step_um else []

    def _slack_um(self) -> float:
        """How far the motor must go down before the face follows; what friction alone may hold is no slack."""
        slack_um = self._seen.z_um + self._off_um - self.virtual.truth.face_mm[2] * UM_PER_MM
        return slack_um if slack_um > 2.0 * self._plant.axes.stick_slip_um else 0.0

    def _to(self, z_um: float) -> list[Command]:
        self._sent_um = round(z_um / self._step_um) * self._step_um
        return [Move(self._seen.x_um, self._seen.y_um, self._sent_um, FAST_UM_S)]

    # -- moving ---------------------------------------------------------------------------------------------------

    def _go(self, hole: PlannedHole, z_um: float) -> Cycle:
        """Up if need be, across, down to a height of the axis."""
        x_um, y_um = hole.x_mm * UM_PER_MM, hole.y_mm * UM_PER_MM
        z_um = min(z_um, self._machine.axes.travel_max_mm[2] * UM_PER_MM)
        over_um = max(z_um, self._seen.z_um)
        yield [Move(self._seen.x_um, self._seen.y_um, over_um, FAST_UM_S)]
        yield [Move(x_um, y_um, over_um, FAST_UM_S), Move(x_um, y_um, z_um, FAST_UM_S)]
        yield []
        while self._seen.queued:
            yield []

    def _pause(self) -> Cycle:
        for _ in range(round(SETTLE_S / self._tick_s)):
            yield []
