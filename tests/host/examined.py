"""A commissioning on the virtual boards, byte by byte in virtual time, with a person at the machine or without."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from controller.core.commissioning import Commissioning
from controller.core.conductor import Conductor
from controller.core.events import Checked, Event, PromptRaised, Said
from controller.core.requests import Answer, Request
from controller.host.session import Look, Session
from controller.link.machine_link import MachineLink
from controller.plan.build import build_plan
from controller.settings.load import load_job, load_machine, resolve
from controller.settings.machine import Machine
from sim.injector import planned
from sim.person import obey
from sim.settings import PlantSettings, load_plant
from sim.wired import WiredMachine

MOST_S = 1200.0  # of machine time: what takes longer hangs
# What a person does when asked, by the words that ask.
DEEDS = {
    "press the hard-wired stop now": "stop",
    "seen. Now release it": "release",
    "open the guard now": "open guard",
    "seen. Now shut the guard": "close guard",
    "push the float of the level switch down now": "drain tank",
    "seen. Now let the float go": "fill tank",
}


def machine_of(convention: str, front_end: str = "clamp") -> Machine:
    """A shipped machine with another front end."""
    machine = load_machine(resolve(f"{convention}.toml", kind="machines"))
    return machine.model_copy(update={"sampler": machine.sampler.model_copy(update={"front_end": front_end})})


def plant_of(**changes: Mapping[str, object]) -> PlantSettings:
    """The default plant with some keys changed, table by table."""
    plant = load_plant()
    tables = {name: getattr(plant, name).model_copy(update=keys) for name, keys in changes.items()}
    return plant.model_copy(update=tables)


class VirtualBench:
    """A core on the virtual boards.

    Args:
        machine: The machine file.
        core: What drives it.
        faults: What goes wrong, as `simulate --fault` takes it.
        answers: What is answered to prompts, by topic; a deed may stand before the answer (`supply off: off`).
        plant: What is true of it.
        seed: Of all its chance.
    """

    def __init__(
        self,
        machine: Machine,
        core: Conductor,
        faults: Sequence[str] = (),
        answers: Mapping[str, str] | None = None,
        plant: PlantSettings | None = None,
        seed: int = 3,
    ) -> None:
        job = load_job(resolve("coupon.toml", kind="jobs"))
        injected = tuple(planned(spec, machine.motion.convention) for spec in faults)
        self.wired = WiredMachine(machine, job, build_plan(job, machine), plant or load_plant(), seed, injected)
        self.session = Session(MachineLink(machine), core, lenient=True)
        self.events: list[Event] = []
        self._answers = answers or {}
        self._tick_s = 1.0 / machine.tick_hz
        self._answered = 0
        self.time_s = 0.0
        self.wired.motion.boot()
        self.wired.sampler.boot()

    def tick(self, requests: Sequence[Request] = ()) -> None:
        """One tick."""
        self.time_s += self._tick_s
        board, sampler = self.wired.advance(self.time_s)
        outcome = self.session.look(Look(self.time_s, board, sampler, (*requests, *self._answer())))
        self.wired.motion.receive(outcome.board)
        self.wired.sampler.receive(outcome.sampler)
        self.events += outcome.events
        for event in outcome.events:
            if isinstance(event, Said):
                self._by_hand(event.text)

    def to_end(self) -> None:
        """Tick until the session is over."""
        while not (self.session.over or self.session.unfit):
            assert self.time_s < MOST_S, f"hangs: {self.events[-3:]}"
            self.tick()

    @property
    def verdicts(self) -> dict[str, Checked]:
        """What became of each check."""
        return {event.name: event for event in self.events if isinstance(event, Checked)}

    def outcomes(self, outcome: str) -> list[str]:
        """The checks with an outcome."""
        return [name for name, verdict in self.verdicts.items() if verdict.outcome == outcome]

    def _by_hand(self, text: str) -> None:
        for words, deed in DEEDS.items():
            if words in text:
                obey(self.wired.plant, deed)

    def _answer(self) -> Sequence[Request]:
        waiting: PromptRaised | None = self.session.waiting
        if waiting is None or waiting.prompt <= self._answered:
            return ()
        self._answered = waiting.prompt
        *deeds, choice = self._answers[waiting.topic].split(": ")
        for deed in deeds:
            assert obey(self.wired.plant, deed).startswith("done")
        return (Answer(waiting.prompt, choice),)


def examined(
    convention: str,
    front_end: str = "clamp",
    faults: Sequence[str] = (),
    *,
    answers: Mapping[str, str] | None = None,
    hands_s: float = 5.0,
    left_out: Sequence[str] = (),
    plant: PlantSettings | None = None,
    seed: int = 3,
) -> VirtualBench:
    """A whole commissioning."""
    machine = machine_of(convention, front_end)
    core = Commissioning(machine, answers=answers is not None, hands_s=hands_s, left_out=frozenset(left_out))
    bench = VirtualBench(machine, core, faults, answers, plant, seed)
    bench.to_end()
    return bench
