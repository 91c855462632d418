"""A stage for scenarios: the real core against the virtual machine on a small job, with upsets at a chosen moment.

The shipped files are the ground of every scenario; what a scenario changes stands in it, key by key. An upset is a deed
done once at a moment, or a change of what the wires say from a moment on. An independent monitor watches every tick.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from pathlib import Path
from typing import Any, TypeVar

from controller.core.commands import Command, Move, Output, Switch
from controller.core.conductor import TickOutput
from controller.core.controller import Controller
from controller.core.events import Event, FaultTripped, HoleFinished, PromptRaised, RunEnded
from controller.core.observation import Observation
from controller.core.requests import Request
from controller.core.rig import Cycle, Rig
from controller.plan.build import build_plan
from controller.plan.overcut import learn_overcut
from controller.settings.job import Job
from controller.settings.load import load_job, load_machine, load_technology
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.machine import VirtualMachine
from sim.operator import NO_REQUESTS, VirtualOperator
from sim.random import Streams
from sim.settings import PlantSettings, load_plant
from sim.truth import full_diameter_um
from tests.properties.monitor import Monitor

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
TICK_S = 0.01
# Two holes, far enough from the coupon's touch points.
PLACES_MM = ((6.0, 6.0), (14.0, 6.0), (22.0, 6.0), (22.0, 14.0), (14.0, 14.0), (6.0, 14.0))
# No scenario's job takes longer: ten times what its few holes need. Chosen so that a run that never ends fails.
LIMIT_S = 4000.0

Changes = dict[str, dict[str, Any]]
Moment = Callable[["Stage"], bool]
EventT = TypeVar("EventT", bound=Event)


def _changed(tables: dict[str, Any], changes: Changes | None) -> dict[str, Any]:
    """Tables of a settings model with some keys laid over them."""
    return {**tables, **{name: {**tables[name], **keys} for name, keys in (changes or {}).items()}}


def small_job(holes: int, changes: Changes | None = None) -> Job:
    """The coupon with so many holes; `changes` are laid over its tables."""
    tables = load_job(CONFIGS / "jobs" / "coupon.toml").model_dump()
    tables["holes"]["pattern"] = [{"kind": "list", "at_mm": PLACES_MM[:holes]}]
    return Job.model_validate(_changed(tables, changes))


def machine(file: str = "virtual", changes: Changes | None = None) -> Machine:
    """A shipped machine file with some keys changed."""
    return Machine.model_validate(_changed(load_machine(CONFIGS / "machines" / f"{file}.toml").model_dump(), changes))


def plant(changes: Changes | None = None) -> PlantSettings:
    """The default plant with some keys changed."""
    return PlantSettings.model_validate(_changed(load_plant().model_dump(), changes))


class Stage:
    """One run in the making.

    Args:
        holes: How many holes of the coupon.
        job, machine, plant: Keys to change in the shipped files.
        machine_file: Which machine.
        true_thickness_mm: How thick the plate really is; as the job says if not given.
        operator: Whether anybody answers prompts.
        seed: Seed of plant and operator.

    Attributes:
        events: Everything the core told, in order.
        sent: Every command that it sent, with the time of its tick.
        fed_live_while_sensing: Whether the source was ever on the electrode together with the sensing feed.
    """

    def __init__(
        self,
        *,
        holes: int = 2,
        job: Changes | None = None,
        machine_file: str = "virtual",
        machine_keys: Changes | None = None,
        plant_keys: Changes | None = None,
        true_thickness_mm: float | None = None,
        operator: bool = True,
        seed: int = 1,
    ) -> None:
        self.job = small_job(holes, job)
        self.machine = machine(machine_file, machine_keys)
        self.plant = plant(plant_keys)
        plan = build_plan(self.job, self.machine)
        technology = load_technology(CONFIGS / "technology" / f"{self.job.job.technology}.toml")
        self.core = Controller(self.machine, self.job, technology, plan, learn_overcut(technology.overcut_mm, ()))
        true_mm = true_thickness_mm or self.job.work.thickness_mm
        true_job = Job.model_validate(_changed(self.job.model_dump(), {"work": {"thickness_mm": true_mm}}))
        self.thickness_mm = true_mm
        self.virtual = VirtualMachine(self.machine, true_job, plan, self.plant, seed)
        self.monitor = Monitor(self.machine)
        self.events: list[Event] = []
        self.sent: list[tuple[float, Command]] = []
        self.contact_closed_s: list[float] = []
        self.ended: RunEnded | None = None
        self.seen: Observation
        self._answerer = VirtualOperator(self.virtual, self.machine.holder.protrusion_mm, Streams(seed))
        self._operator, self._seed = operator, seed
        self._deeds: list[tuple[Moment, Callable[[], None]]] = []
        self._wires: list[tuple[Moment, Callable[[Observation], None]]] = []
        self._tampered: list[Callable[[Observation], None]] = []
        self._asked: list[tuple[Moment, Request]] = []

    # -- what happens to it ----------------------------------------------------------------------------------------

    def do(self, moment: Moment, deed: Callable[[], None]) -> Stage:
        """Do something to the machine, once, at a moment."""
        self._deeds.append((moment, deed))
        return self

    def tamper(self, moment: Moment, change: Callable[[Observation], None]) -> Stage:
        """From a moment on, change what the wires say."""
        self._wires.append((moment, change))
        return self

    def ask(self, moment: Moment, request: Request) -> Stage:
        """Ask something of the core, once, at a moment."""
        self._asked.append((moment, request))
        return self

    def instead(self, cycle: Callable[[Rig, VirtualMachine], Generator[Sequence[Command], None, RunEnded]]) -> Stage:
        """Run a cycle of the scenario's own in place of the whole job."""
        own: Cycle[RunEnded] = cycle(self.core._rig, self.virtual)
        self.core._cycle = own
        return self

    # -- running ---------------------------------------------------------------------------------------------------

    def play(self, limit_s: float = LIMIT_S) -> Stage:
        """Run to the end. A run that holds for an operator who is not there ends at its prompt."""
        while self.ended is None:
            assert self.tick().time_s < limit_s, f"no end by {limit_s:.0f} s: {self.core.snapshot()}"
            if self.core.waiting is not None and not self._operator:
                break
        return self

    def linger(self, seconds: float) -> Stage:
        """Let the machine go on for a while after the end, the host still alive."""
        for _ in range(round(seconds / TICK_S)):
            self.tick()
        return self

    def tick(self) -> Observation:
        """One tick; what was seen in it."""
        seen = self.seen = self.virtual.advance(TICK_S)
        self._upset()
        for change in self._tampered:
            change(seen)
        out = self.core.tick(seen, self._requests())
        self.virtual.carry_out(out.commands)
        self.monitor.watch(seen, out)
        self._take(seen, out)
        return seen

    def _upset(self) -> None:
        for due in [pair for pair in self._deeds if pair[0](self)]:
            self._deeds.remove(due)
            due[1]()
        for tampering in [pair for pair in self._wires if pair[0](self)]:
            self._wires.remove(tampering)
            self._tampered.append(tampering[1])

    def _requests(self) -> Sequence[Request]:
        due = [pair for pair in self._asked if pair[0](self)]
        for pair in due:
            self._asked.remove(pair)
        answers = self._answerer.requests(self.seen.time_s, self.core.waiting) if self._operator else NO_REQUESTS
        return [*(request for _, request in due), *answers]

    def _take(self, seen: Observation, out: TickOutput) -> None:
        self.events += out.events
        self.sent += [(seen.time_s, command) for command in out.commands]
        self.ended = self.core.ended
        if self.virtual.truth.live:
            self.contact_closed_s.append(seen.time_s)

    # -- what came of it -------------------------------------------------------------------------------------------

    def told(self, kind: type[EventT]) -> list[EventT]:
        """The events of a kind, in order."""
        return [event for event in self.events if isinstance(event, kind)]

    @property
    def outcome(self) -> str:
        """How it ended; `waiting` while a prompt stands."""
        return self.ended.outcome if self.ended else "waiting"

    @property
    def fault(self) -> FaultTripped:
        """The fault that ended it."""
        return self.told(FaultTripped)[-1]

    @property
    def prompts(self) -> list[PromptRaised]:
        """What the operator was asked."""
        return self.told(PromptRaised)

    @property
    def finished(self) -> list[HoleFinished]:
        """The holes as the core believes them."""
        return self.told(HoleFinished)

    def exit_mm(self, hole: int) -> float:
        """The largest pin that truly passes a hole; 0 when it is not open."""
        return self.virtual.truth.holes[hole].exit_diameter_um() / UM_PER_MM

    def full_mm(self) -> float:
        """What this plant makes with unlimited over-travel."""
        rod = self.job.electrode
        return (
            full_diameter_um(
                self.plant,
                self.thickness_mm * UM_PER_MM,
                rod.diameter_mm * UM_PER_MM,
                self.virtual.truth.dirt,
                self._seed,
                rod.bore_mm * UM_PER_MM,
            )
            / UM_PER_MM
        )

    def short_of_full_mm(self) -> dict[int, float]:
        """By how much every begun hole falls short of the plant's full diameter."""
        full_mm = self.full_mm()
        return {number: full_mm - self.exit_mm(number) for number in self.virtual.truth.holes}

    def source_off_sent_s(self) -> list[float]:
        """When the source was commanded off."""
        return [at for at, command in self.sent if command == Switch(Output.SOURCE, False, hot=True)] + [
            at for at, command in self.sent if command == Switch(Output.SOURCE, False)
        ]

    def lowest_sent_um(self, since_s: float) -> float:
        """The lowest place that the feed axis was sent to since a time."""
        return min(command.z_um for at, command in self.sent if at >= since_s and isinstance(command, Move))


# -- moments ---------------------------------------------------------------------------------------------------------


def at(time_s: float) -> Moment:
    """When the machine time is reached."""
    return lambda stage: stage.seen.time_s >= time_s


def after(kind: type[Event], times: int = 1) -> Moment:
    """When an event of this kind has come so often."""
    return lambda stage: len(stage.told(kind)) >= times


def eroding(depth_mm: float) -> Moment:
    """In a hole, sparking, this deep below the first spark."""
    return lambda stage: (
        stage.core.phase == "erode"
        and stage.core.snapshot().feed_mm >= depth_mm
        and stage.virtual.truth.state == "sparking"
    )


def in_phase(phase: str) -> Moment:
    """When the core is in a phase."""
    return lambda stage: stage.core.phase == phase
