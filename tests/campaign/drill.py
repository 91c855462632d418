"""One rehearsal with something going wrong in it, watched by the plant's own monitor, kept in memory."""

from __future__ import annotations

import traceback
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from controller.core.events import Event, FaultTripped, HoleFinished, PromptRaised, RunEnded
from controller.core.standing import standing
from controller.workshop import Assignment, assignment, controller_for
from sim.aside import taken_up
from sim.injector import Planned, planned
from sim.machine import VirtualMachine
from sim.monitor import PlantMonitor
from sim.notebook import Notebook
from sim.rehearsal import Core, Rehearsal
from sim.settings import load_plant

# No drill takes longer (s of machine time): ten times what its job needs.
LIMIT_S = 6000.0
# After its end a machine is looked at for so long (s): the gate and the pump have let go by then (electrics.md).
AFTER_S = 3.0
# Faults that keep voltage or water where they are whatever the host does: the supply has to be switched off by hand.
BEYOND_THE_HOST = frozenset({"contact-stuck", "contact-leaks"})
SMALL_JOB = Path(__file__).with_name("drill.toml")


@lru_cache(maxsize=4)
def small_job(machine: str = "virtual.toml", *, rehearsed: bool = True) -> Assignment:
    """Three holes in thin sheet."""
    return assignment(str(SMALL_JOB), machine, rehearsed=rehearsed)


@dataclass
class Drill:
    """What came of one drill."""

    spec: str
    seed: int
    outcome: str = ""
    reason: str = ""
    told: list[str] = field(default_factory=list)  # causes of faults, topics of prompts, reasons of holes given up
    injected_s: float | None = None
    live: bool = False
    told_s: float | None = None
    seconds: float = 0.0
    lives: int = 0
    holes: list[tuple[int, str]] = field(default_factory=list)
    breaches: list[str] = field(default_factory=list)
    unsafe: str = ""
    uncaught: str = ""

    @property
    def name(self) -> str:
        """The fault."""
        return self.spec.partition("@")[0]


def drill(given: Assignment, spec: str, seed: int, *, operator: bool = True, lives: int = 1) -> Drill:
    """Rehearse with a fault; after a fault or a hold it is mended and taken up again, up to `lives` times in all."""
    done = Drill(spec, seed)
    faults = (planned(spec, given.machine.motion.convention, rehearsed=True),) if spec else ()
    book = Notebook()
    aside: bytes | None = None
    try:
        while done.lives < lives and done.outcome != "complete":
            aside = _live(given, faults, book, done, aside, operator=operator)
            done.lives += 1
    except Exception:  # noqa: BLE001 - whatever it is, it is counted
        done.uncaught = traceback.format_exc()
    return done


def _live(
    given: Assignment, faults: tuple[Planned, ...], book: Notebook, done: Drill, aside: bytes | None, *, operator: bool
) -> bytes:
    machine = taken_up(aside) if aside is not None else None
    rehearsal = Rehearsal(
        controller_for(given, standing(book.events) if machine is not None else None),
        given.machine,
        given.job,
        given.plan,
        load_plant(None),
        done.seed,
        book,
        operator=operator,
        faults=faults,
        aside=machine,
    )
    if machine is not None:
        machine.injector.mend()
        rehearsal.virtual.left_alone(60.0)
    monitor = PlantMonitor(given.machine, rehearsal.injector)

    def watch(_core: Core, plant: VirtualMachine) -> None:
        monitor.watch(plant)
        if done.injected_s is None and rehearsal.injector.done:
            done.injected_s = rehearsal.injector.done[0][1]
            done.live = plant.contacts.live

    rehearsal.watch = watch
    start = len(book.events)
    while rehearsal.step(500):
        if rehearsal.time_s > LIMIT_S:
            done.outcome, done.reason = "endless", f"no end by {LIMIT_S:.0f} s"
            break
    note(done, book.events[start:])
    _settle(rehearsal, done)
    done.breaches += monitor.breaches
    return rehearsal.put_aside()


def note(done: Drill, events: Sequence[Event], base_s: float = 0.0) -> None:
    """Take what a run told; `base_s` of the machine's time had passed when its own began."""
    for event in events:
        match event:
            case FaultTripped():
                done.told.append(event.cause)
                done.told_s = event.time_s + base_s if done.told_s is None else done.told_s
            case PromptRaised():
                done.told.append(str(event.topic))
            case HoleFinished():
                done.holes.append((event.hole, event.outcome))
                if event.outcome != "through":
                    done.told.append(event.reason.partition(":")[0])
            case RunEnded():
                done.outcome, done.reason = event.outcome, event.reason
            case _:
                pass


def _settle(rehearsal: Rehearsal, done: Drill) -> None:
    """Let the machine go on for a while after the end, the host still there; is everything off?"""
    plant, core = rehearsal.virtual, rehearsal.core
    for _ in range(round(AFTER_S / 0.01)):
        plant.carry_out(core.tick(plant.advance(0.01)).commands)
    done.seconds = plant.time_s
    truth = plant.truth
    left = [name for name, on in (("source", truth.live), ("sensing", truth.sensing_on), ("water", truth.flow)) if on]
    if left and done.name not in BEYOND_THE_HOST:
        done.unsafe = f"left on: {', '.join(left)}"
