"""The controller: holds the parts and calls them in order, once a tick. Decisions live in the parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from controller.core.causes import Cause, Trip, trip
from controller.core.commands import Command, Halt, Move, Output, Switch, Turn
from controller.core.cycles.ask import EndRun
from controller.core.cycles.stand_down import stand_down
from controller.core.cycles.take_up import remember
from controller.core.electrode import Electrode
from controller.core.events import (
    CommandRefused,
    Event,
    FaultTripped,
    HoleFinished,
    PhaseChanged,
    PromptAnswered,
    PromptRaised,
    RunEnded,
    SourceOpenedHot,
)
from controller.core.gap import GapState
from controller.core.guards import GuardWatch
from controller.core.interlocks import ROUNDING_UM, Interlocks
from controller.core.observation import BoardState, Observation
from controller.core.phases import Phase, PhaseMachine, Trigger
from controller.core.program import holes_to_measurement, program
from controller.core.requests import HoldRequest, Request
from controller.core.rig import Cycle, Rig, Setting, guessed_cone_mm
from controller.core.sense import Sense
from controller.core.servo import Servo
from controller.core.snapshot import Snapshot
from controller.core.standing import Standing
from controller.plan.overcut import Overcut
from controller.plan.plan import Plan
from controller.plan.wear import disc_area_mm2, length_lost_mm
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.technology import Technology
from controller.settings.units import UM_PER_MM

# Without a proven open contact the water still stops, when the fail-safe gate would have stopped it (within 2 s of a
# dead host, electrics.md).
WATER_OFF_S: Final = 2.0


class TickOutput:
    """What one tick brought: commands for the machine, in order, and events for the record."""

    __slots__ = ("commands", "events")

    def __init__(self) -> None:
        self.commands: list[Command] = []
        self.events: list[Event] = []


class Controller:
    """The whole control core. Pure: `tick` in, `TickOutput` out; no I/O, no clock, no randomness.

    With `before` it takes up a run that ended early or broke off.

    Attributes:
        ended: the last event once the run is over, else None.
        waiting: the prompt that waits for an answer, else None.
    """

    def __init__(
        self,
        machine: Machine,
        job: Job,
        technology: Technology,
        plan: Plan,
        overcut: Overcut,
        before: Standing | None = None,
    ) -> None:
        given = Setting(machine, job, technology, plan, overcut)
        self.ended: RunEnded | None = None
        self.waiting: PromptRaised | None = None
        self._guards = GuardWatch()
        self._locks = Interlocks(machine)
        self._sense = Sense(machine)
        self._rig = Rig(
            given,
            self._sense,
            PhaseMachine(),
            self._locks,
            Servo(1.0 / machine.tick_hz, foretold_front_um_s(given)),
            new_electrode(given),
        )
        self._holes_done = 0
        if before is not None:
            remember(self._rig, before)
            self._holes_done = len(before.finished)
        self._cycle: Cycle[RunEnded] = program(self._rig)
        self._standing_down = False

    @property
    def gap_state(self) -> GapState:
        """The most probable state of the gap; meaningful while the source is on."""
        return self._sense.gap.state

    @property
    def phase(self) -> Phase:
        """The present phase."""
        return self._rig.phases.phase

    @property
    def electrode(self) -> Electrode:
        """The belief about the electrode."""
        return self._rig.electrode

    def tick(self, seen: Observation, requests: Sequence[Request] = ()) -> TickOutput:
        """Take one observation, and what people asked for; return what to do and what happened."""
        out = TickOutput()
        rig = self._rig
        rig.out = out.events
        rig.requests = requests
        self._sense.take(seen)
        self._locks.gap_open_s = self._sense.quiet_s
        if self.ended is not None:
            self._wind_down(out)
            return out
        try:
            self._guards.check(self._sense, self._locks)
            if requests:
                self._heed(requests)
            for command in next(self._cycle):
                self._propose(command, out)
        except Trip as tripped:
            self._fault(tripped, out)
        except EndRun as end:
            self._end(out, end.outcome, end.reason)
        except StopIteration as stop:
            self._end(out, stop.value.outcome, stop.value.reason)
        if out.events:
            self._follow(out.events)
        return out

    def snapshot(self) -> Snapshot:
        """A picture of the core for a screen."""
        rig, gap = self._rig, self._sense.gap
        return Snapshot(
            rig.now_s,
            rig.phases.phase.value,
            rig.doing,
            rig.hole,
            self._holes_done,
            len(rig.given.plan.holes),
            rig.feed_um / UM_PER_MM,
            gap.p_open,
            gap.p_sparking,
            gap.p_shorted,
            gap.p_off,
            gap.spark_rate_hz,
            rig.servo.reference.centre,
            rig.electrode.tip_mm,
            rig.electrode.tip_u_mm,
            rig.electrode.cone_mm,
            rig.electrode.stock_mm,
            rig.pierce_um / UM_PER_MM,
            rig.full_um / UM_PER_MM,
            holes_to_measurement(rig),
            rig.wishes.words(),
        )

    def _heed(self, requests: Sequence[Request]) -> None:
        for request in requests:
            if isinstance(request, HoldRequest) and not self._standing_down:
                self._standing_down = True
                self._cycle = stand_down(self._rig, request.why)
            else:
                self._rig.wishes.take(request)

    def _propose(self, command: Command, out: TickOutput) -> None:
        refusal = self._locks.check(command, self._rig.phases.phase, self._sense.seen)
        if refusal is None:
            out.commands.append(command)
            return
        out.events.append(CommandRefused(self._rig.now_s, repr(command), refusal))
        raise trip(Cause.PROGRAM, f"the interlocks refused {command!r}: {refusal}")

    def _fault(self, tripped: Trip, out: TickOutput) -> None:
        before = self._rig.phases.phase
        if self._rig.phases.fire(Trigger.TRIP):
            out.events.append(PhaseChanged(self._rig.now_s, before.value, Trigger.TRIP.value, Phase.FAULT.value))
        out.events.append(FaultTripped(self._rig.now_s, tripped.cause, tripped.meaning, tripped.remedy))
        self._make_safe(out)
        self._end(out, "fault", f"{tripped.cause}: {tripped.meaning}. Remedy: {tripped.remedy}; then `resume`")

    def _make_safe(self, out: TickOutput) -> None:
        """Source off at once, then the tip out of the hole if the board can be trusted, water off last."""
        locks = self._locks
        if locks.on[Output.SOURCE]:
            self._switch_off(Output.SOURCE, out)
            out.events.append(SourceOpenedHot(self._rig.now_s, locks.hot_openings, "fault"))
        self._switch_off(Output.SENSING, out)
        lift = self._safe_lift()
        out.commands.append(Halt())
        if lift is not None:
            out.commands.append(lift)
        if self._rig.given.machine.spindle.fitted:
            out.commands.append(Turn(0.0))
        self._wind_down(out)

    def _wind_down(self, out: TickOutput) -> None:
        """The water stops once the source contact is proven open, and not before (or a while after the end)."""
        since_end_s = self._sense.time_s - self.ended.time_s if self.ended else 0.0
        if self._sense.seen.contact_open or since_end_s > WATER_OFF_S:
            self._switch_off(Output.WATER, out)

    def _safe_lift(self) -> Move | None:
        """Straight up to the clear height: only by a board that can be trusted, from where the tip was sent last."""
        seen, locks = self._sense.seen, self._locks
        if seen.board is not BoardState.READY or not seen.homed or seen.stop_pressed or seen.z_um >= locks.clear_z_um:
            return None
        x_um, y_um, _ = locks.sent or (seen.x_um, seen.y_um, 0.0)
        lost = abs(x_um - seen.x_um) + abs(y_um - seen.y_um) > ROUNDING_UM
        if lost or not locks.within_travel((x_um, y_um, locks.clear_z_um)):
            return None
        top_um_s = self._rig.given.machine.axes.top_speed_mm_s[2] * UM_PER_MM
        return Move(x_um, y_um, locks.clear_z_um, top_um_s, urgent=True)

    def _switch_off(self, output: Output, out: TickOutput) -> None:
        if self._locks.on[output]:
            command = Switch(output, False, hot=True)
            if self._locks.check(command, Phase.FAULT, self._sense.seen) is None:
                out.commands.append(command)

    def _end(self, out: TickOutput, outcome: str, reason: str) -> None:
        if outcome != "fault":
            self._make_safe(out)
        self.ended = RunEnded(self._rig.now_s, outcome, reason)
        out.events.append(self.ended)

    def _follow(self, events: Sequence[Event]) -> None:
        for event in events:
            if isinstance(event, PromptRaised):
                self.waiting = event
            elif isinstance(event, PromptAnswered):
                self.waiting = None
            elif isinstance(event, HoleFinished):
                self._holes_done += 1


def foretold_front_um_s(given: Setting) -> float:
    """Speed of the whole front by the technology's removal rate: volume a second over the hole's area."""
    return given.technology.removal_mm3_s.guess / disc_area_mm2(given.job.holes.diameter_mm) * UM_PER_MM


def new_electrode(given: Setting) -> Electrode:
    """The belief about the rod before anything was measured: as the files say."""
    rod, holder, technology = given.job.electrode, given.machine.holder, given.technology
    hole_mm2 = disc_area_mm2(given.job.holes.diameter_mm)
    lost = length_lost_mm(
        technology.volumetric_wear.guess,
        hole_mm2,
        disc_area_mm2(rod.diameter_mm, rod.bore_mm),
        given.job.work.thickness_mm,
    )
    share_u = technology.volumetric_wear.u / technology.volumetric_wear.guess
    cone_mm = guessed_cone_mm(given)
    return Electrode(holder.protrusion_mm, holder.protrusion_u_mm, lost, lost * share_u, rod.length_mm, cone_mm)
