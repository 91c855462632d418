"""The conductor: calls guards, cycle and interlocks in order, once a tick, for whatever the cycle is for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from controller.core.causes import MEANINGS, Cause, Trip
from controller.core.causes import trip as tripped
from controller.core.commands import Command, Halt, Move, Output, Switch, Turn
from controller.core.cycles.ask import EndRun
from controller.core.cycles.stand_down import stand_down
from controller.core.events import (
    CommandRefused,
    Event,
    FaultTripped,
    PhaseChanged,
    PromptAnswered,
    PromptRaised,
    RunEnded,
    SourceOpenedHot,
)
from controller.core.guards import GuardWatch
from controller.core.interlocks import ISOLATION_GONE, ROUNDING_UM
from controller.core.observation import BoardState, Observation
from controller.core.phases import Phase, Trigger
from controller.core.requests import HoldRequest, Request
from controller.core.rig import Bench, Cycle
from controller.core.snapshot import Snapshot
from controller.settings.units import UM_PER_MM

# Without a proven open contact the water still stops, when the fail-safe gate would have stopped it (within 2 s of a
# dead host, electrics.md).
WATER_OFF_S: Final = 2.0


class RefusedTrip(Trip):
    """The interlocks refused a command: a fault of the program, after which nothing goes on."""


class TickOutput:
    """What one tick brought: commands for the machine, in order, and events for the record."""

    __slots__ = ("commands", "events")

    def __init__(self) -> None:
        self.commands: list[Command] = []
        self.events: list[Event] = []


class Conductor:
    """A control core. Pure: `tick` in, `TickOutput` out; no I/O, no clock, no randomness.

    Args:
        bench: What the cycle works with.
        cycle: What is to be done; returns how it ended.

    Attributes:
        ended: the last event once the run is over, else None.
        waiting: the prompt that waits for an answer, else None.
    """

    def __init__(self, bench: Bench, cycle: Cycle[RunEnded]) -> None:
        self.ended: RunEnded | None = None
        self.waiting: PromptRaised | None = None
        self._bench = bench
        self._cycle = cycle
        self._sense, self._locks = bench.sense, bench.locks
        self._guards = GuardWatch()
        self._standing_down = False

    @property
    def phase(self) -> Phase:
        """The present phase."""
        return self._bench.phases.phase

    @property
    def rests_until_s(self) -> float:
        """Until when it has nothing to do if nothing is asked and no input changes: nothing is on, nothing moves.

        A time that is past (0 always is) when it can't say.
        """
        until_s = self._bench.rests_until_s
        if not until_s or self.ended is not None or self._sense.seen.queued or any(self._locks.on.values()):
            return 0.0
        return until_s

    def tick(self, seen: Observation, requests: Sequence[Request] = ()) -> TickOutput:
        """Take one observation, and what people asked for; return what to do and what happened."""
        out = TickOutput()
        bench = self._bench
        bench.out = out.events
        bench.requests = requests
        bench.rests_until_s = 0.0
        self._sense.take(seen)
        self._locks.gap_open_s = self._sense.quiet_s
        self._locks.phase = bench.phases.phase
        if self.ended is not None:
            self._wind_down(out)
            return out
        try:
            self._guards.check(self._sense, self._locks)
            if requests:
                self._heed(requests)
            for command in next(self._cycle):
                self._propose(command, out)
        except Trip as trip:
            self._fault(trip, out)
        except EndRun as end:
            self._end(out, end.outcome, end.reason)
        except StopIteration as stop:
            self._end(out, stop.value.outcome, stop.value.reason)
        if out.events:
            self._follow(out.events)
        return out

    def snapshot(self) -> Snapshot | None:
        """A picture of the core for a screen; None where there is none to be painted."""
        return None

    def _after_fault(self, _trip: Trip) -> Cycle[RunEnded] | None:
        """What goes on, in `fault`, with everything made safe, after a trip; None when that is the end."""
        return None

    def _heed(self, requests: Sequence[Request]) -> None:
        for request in requests:
            if isinstance(request, HoldRequest) and not self._standing_down:
                self._standing_down = True
                self._cycle = stand_down(self._bench, request.why)

    def _propose(self, command: Command, out: TickOutput) -> None:
        refusal = self._locks.check(command, self._bench.phases.phase, self._sense.seen)
        if refusal is None:
            out.commands.append(command)
            return
        out.events.append(CommandRefused(self._bench.now_s, repr(command), refusal))
        if refusal == ISOLATION_GONE:
            # In this very tick, before the guard's time is up: no mistake of the program.
            raise tripped(Cause.SOURCE_NOT_ISOLATED)
        raise RefusedTrip(
            Cause.PROGRAM,
            f"{MEANINGS[Cause.PROGRAM].words} (the interlocks refused {command!r}: {refusal})",
            MEANINGS[Cause.PROGRAM].remedy,
        )

    def _fault(self, trip: Trip, out: TickOutput) -> None:
        before = self._bench.phases.phase
        if self._bench.phases.fire(Trigger.TRIP):
            out.events.append(PhaseChanged(self._bench.now_s, before.value, Trigger.TRIP.value, Phase.FAULT.value))
        out.events.append(FaultTripped(self._bench.now_s, trip.cause, trip.meaning, trip.remedy))
        self._make_safe(out)
        onward = None if self._standing_down or isinstance(trip, RefusedTrip) else self._after_fault(trip)
        if onward is not None:
            self._cycle = onward
            return
        self._end(out, "fault", f"{trip.cause}: {trip.meaning}. Remedy: {trip.remedy}; then `resume`")

    def _make_safe(self, out: TickOutput) -> None:
        """Source off at once, then the tip out of the hole if the board can be trusted, water off last."""
        locks = self._locks
        if locks.on[Output.SOURCE]:
            self._switch_off(Output.SOURCE, out)
            out.events.append(SourceOpenedHot(self._bench.now_s, locks.hot_openings, "fault"))
        self._switch_off(Output.SENSING, out)
        lift = self._safe_lift()
        out.commands.append(Halt())
        if lift is not None:
            out.commands.append(lift)
        if self._bench.machine.spindle.fitted:
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
        top_um_s = self._bench.machine.axes.top_speed_mm_s[2] * UM_PER_MM
        return Move(x_um, y_um, locks.clear_z_um, top_um_s, urgent=True)

    def _switch_off(self, output: Output, out: TickOutput) -> None:
        if self._locks.on[output]:
            command = Switch(output, False, hot=True)
            if self._locks.check(command, Phase.FAULT, self._sense.seen) is None:
                out.commands.append(command)

    def _end(self, out: TickOutput, outcome: str, reason: str) -> None:
        if outcome != "fault":
            self._make_safe(out)
        self.ended = RunEnded(self._bench.now_s, outcome, reason)
        out.events.append(self.ended)

    def _follow(self, events: Sequence[Event]) -> None:
        for event in events:
            if isinstance(event, PromptRaised):
                self.waiting = event
            elif isinstance(event, PromptAnswered):
                self.waiting = None
