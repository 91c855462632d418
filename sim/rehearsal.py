"""A rehearsal: the real control core against the virtual machine, joined tick by tick in virtual time.

No wire, no clock and no thread in between: whoever rehearses calls `step` for as many ticks as it likes and looks at
the state between two calls. The same seed gives the same events, whatever the length of the steps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import ceil
from typing import Final, Protocol

from controller.core.commands import Command
from controller.core.events import ElectrodeMeasured, Event, HoleFinished, HoleStarted, PromptRaised, RunEnded
from controller.core.observation import Observation
from controller.core.requests import HELD, Answer, Request
from controller.plan.plan import Plan
from controller.record.journal import TrueHole, TrueTip
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.aside import PutAside, put_aside
from sim.faults import Site
from sim.injector import Injector, Planned
from sim.machine import VirtualMachine
from sim.operator import NO_REQUESTS, VirtualOperator
from sim.random import Streams
from sim.settings import PlantSettings
from sim.truth import full_diameter_um


class Sink(Protocol):
    """Where events and truths go: a journal, or lists in memory."""

    def append(self, event: Event) -> None:
        """Take an event of the core."""

    def append_true_tip(self, tip: TrueTip) -> None:
        """Take the true tip length at the time of an event about the electrode."""

    def append_true_hole(self, truth: TrueHole) -> None:
        """Take what a finished hole really became."""


class Ticked(Protocol):
    """What a tick brought."""

    @property
    def commands(self) -> Sequence[Command]:
        """Commands for the machine, in order."""

    @property
    def events(self) -> Sequence[Event]:
        """Events for the record, in order."""


class Core(Protocol):
    """What drives the machine: the controller, or the baseline that the benchmarks hold against it."""

    @property
    def waiting(self) -> PromptRaised | None:
        """The prompt that waits for an answer."""

    @property
    def rests_until_s(self) -> float:
        """Until when nothing is to be done: nothing is on, nothing moves. A time that is past when it can't say."""

    @property
    def gap_state(self) -> str:
        """What it takes the gap for."""

    def tick(self, seen: Observation, requests: Sequence[Request] = ()) -> Ticked:
        """Take one observation."""


# So much of an idle stretch is jumped over at once. Chosen: somebody who watches and asks for something is heard soon.
JUMP_S: Final = 0.5
ROUNDING_TICKS: Final = 1e-6

# Looked at after every tick by the benchmarks.
Watch = Callable[[Core, VirtualMachine], None]


class Rehearsal:
    """One job on one plant.

    Args:
        core: What drives the machine.
        machine, job, plan: What it was given, too.
        plant: What is true of the machine.
        seed: Seed of the plant's noise and of the virtual operator.
        sink: Where events and truths go.
        operator: Whether anybody answers prompts; else the run ends as `held` at the first.
        watch: Called after every tick.
        faults: What goes wrong, and when.
        patient: Without an operator it waits, since somebody who watches answers.
        aside: The machine as an earlier rehearsal has put it aside, instead of a new one.

    Attributes:
        ended: How it ended, once it is over.
        time_s: Machine time of the last tick.
    """

    __slots__ = (
        "_ahead",
        "_answered",
        "_asked",
        "_job",
        "_patient",
        "_plant",
        "_seed",
        "_sink",
        "_tick_s",
        "core",
        "ended",
        "injector",
        "operator",
        "time_s",
        "virtual",
        "watch",
    )

    def __init__(
        self,
        core: Core,
        machine: Machine,
        job: Job,
        plan: Plan,
        plant: PlantSettings,
        seed: int,
        sink: Sink,
        *,
        operator: bool = True,
        watch: Watch | None = None,
        faults: tuple[Planned, ...] = (),
        aside: PutAside | None = None,
        patient: bool = False,
    ) -> None:
        if aside is None:
            self.virtual = VirtualMachine(machine, job, plan, plant, seed)
            self.operator = VirtualOperator(self.virtual, machine.holder.protrusion_mm, Streams(seed))
            self.injector = Injector(faults, Site(self.virtual))
        else:
            self.virtual, self.operator, self.injector = aside.virtual, aside.operator, aside.injector
        self.core = core
        self.ended: RunEnded | None = None
        self.time_s = self.virtual.time_s
        self.watch = watch
        self._answered, self._patient = operator, patient
        self._asked: Sequence[Request] = NO_REQUESTS
        self._ahead = 0
        self._job, self._plant, self._seed = job, plant, seed
        self._sink = sink
        self._tick_s = 1.0 / machine.tick_hz

    def step(self, ticks: int) -> bool:
        """Go on for `ticks` ticks; False when the run is over.

        An idle stretch is jumped over. One that is longer than what is left of the ticks is taken off the next ones.
        """
        virtual, core, watch, tick_s = self.virtual, self.core, self.watch, self._tick_s
        injector = self.injector
        left = ticks - self._ahead
        while left > 0:
            idle = self._idle_ticks() if core.rests_until_s > self.time_s else 1
            observation = virtual.advance(tick_s) if idle == 1 else virtual.rest(idle * tick_s)
            left -= idle
            if observation.time_s >= injector.next_s:
                injector.act(observation)
            asked, self._asked = self._asked, NO_REQUESTS
            if core.waiting is not None and not asked:
                asked = self._prompted(core.waiting, observation.time_s)
            out = core.tick(observation, asked)
            virtual.carry_out(out.commands)
            if watch is not None:
                watch(core, virtual)
            self.time_s = observation.time_s
            if out.events:
                self._take(out.events)
            if self.ended is not None:
                return False
        self._ahead = -left
        return True

    def _idle_ticks(self) -> int:
        """How many ticks it is until something may happen: the core, the operator, a fault."""
        core, operator = self.core, self.operator
        until_s = min(core.rests_until_s, self.time_s + JUMP_S, self.injector.next_s)
        if core.waiting is not None and self._answered and operator.due_s > self.time_s:
            until_s = min(until_s, operator.due_s)
        # A tick's end may lie a rounding beyond what it is to reach.
        return max(ceil((until_s - self.time_s) / self._tick_s - ROUNDING_TICKS), 1)

    def ask(self, requests: Sequence[Request]) -> None:
        """Ask something of the core in the next tick, as somebody who watches does.

        Whoever answers a prompt here has no hands at the machine: the virtual operator's do the work first.
        """
        waiting = self.core.waiting
        for request in requests:
            if waiting is not None and isinstance(request, Answer) and request.prompt == waiting.prompt:
                self.operator.obey(waiting, request.choice)
        self._asked = requests

    def end(self, outcome: str, reason: str) -> None:
        """Break off here, between two ticks; nothing happens to a rehearsal that is over."""
        if self.ended is None:
            self._take([RunEnded(self.time_s, outcome, reason)])

    def put_aside(self) -> bytes:
        """The machine as it stands, and whoever is about it: `sim.aside.taken_up` gives them back."""
        return put_aside(PutAside(self.virtual, self.operator, self.injector))

    def gauged_diameters_mm(self) -> list[tuple[int, float]]:
        """What the virtual operator reads with pins on every hole that is through, by number."""
        holes = sorted(self.virtual.truth.holes.items())
        exits_mm = [(number, hole.exit_diameter_um() / UM_PER_MM) for number, hole in holes]
        return [(number, self.operator.gauge(exit_mm)) for number, exit_mm in exits_mm if exit_mm > 0]

    def _prompted(self, waiting: PromptRaised, time_s: float) -> Sequence[Request]:
        """A prompt waits: the operator's answer when it is due, or the end when there is no operator."""
        if self._answered:
            return self.operator.requests(time_s, waiting)
        if self._patient or waiting.topic == HELD:
            return NO_REQUESTS
        self.time_s = time_s
        self.end("held", f"the operator is needed: {waiting.what_happened}")
        return NO_REQUESTS

    def _take(self, events: Sequence[Event]) -> None:
        for event in events:
            self._sink.append(event)
            if isinstance(event, RunEnded):
                self.ended = event
            if isinstance(event, HoleStarted | HoleFinished | ElectrodeMeasured):
                self._sink.append_true_tip(TrueTip(event.time_s, self.virtual.truth.tip_length_mm))
            if isinstance(event, HoleFinished):
                self._sink.append_true_hole(self._true_hole(event))

    def _true_hole(self, finished: HoleFinished) -> TrueHole:
        truth = self.virtual.truth
        hole = truth.holes.get(finished.hole)
        if hole is None:  # whatever was drilled, it was not drilled there
            return TrueHole(finished.hole, 0.0, 0.0, self._full_mm(), False)
        return TrueHole(
            finished.hole,
            hole.entry_diameter_um() / UM_PER_MM,
            hole.exit_diameter_um() / UM_PER_MM,
            self._full_mm(),
            hole.through,
        )

    def _full_mm(self) -> float:
        """What this plant would make with unlimited over-travel, in water as dirty as it is now."""
        job, dirt = self._job, self.virtual.truth.dirt
        rod_um, bore_um = job.electrode.diameter_mm * UM_PER_MM, job.electrode.bore_mm * UM_PER_MM
        thickness_um = job.work.thickness_mm * UM_PER_MM
        return full_diameter_um(self._plant, thickness_um, rod_um, dirt, self._seed, bore_um) / UM_PER_MM
