"""One rehearsal with something going wrong in it, watched by the plant's own monitor, kept in memory."""

from __future__ import annotations

import traceback
from dataclasses import dataclass, field

from controller.core.events import FaultTripped, HoleFinished, PromptRaised, RunEnded, ShortEnded
from controller.core.standing import standing
from controller.workshop import Assignment, assignment, controller_for
from sim.aside import taken_up
from sim.faults import Planned, planned
from sim.machine import VirtualMachine
from sim.monitor import PlantMonitor
from sim.notebook import Notebook
from sim.rehearsal import Core, Rehearsal
from sim.settings import load_plant

# No drill takes longer (s of machine time): ten times what its job needs.
LIMIT_S = 6000.0


@dataclass
class Drill:
    """What came of one drill."""

    spec: str
    seed: int
    outcome: str = ""
    reason: str = ""
    causes: list[str] = field(default_factory=list)
    prompts: list[str] = field(default_factory=list)
    shorts: list[str] = field(default_factory=list)
    injected_s: float | None = None
    told_s: float | None = None
    seconds: float = 0.0
    holes: list[tuple[int, str, str]] = field(default_factory=list)
    breaches: list[str] = field(default_factory=list)
    uncaught: str = ""


def drill(given: Assignment, spec: str, seed: int, *, operator: bool = True, lives: int = 1) -> Drill:
    """Rehearse with a fault; after a fault or a hold it is mended and resumed, up to `lives` times in all."""
    done = Drill(spec, seed)
    faults = (planned(spec, given.machine.motion.convention, rehearsed=True),) if spec else ()
    book = Notebook()
    aside: bytes | None = None
    try:
        for _ in range(lives):
            aside = _live(given, faults, seed, book, done, aside, operator=operator)
            if done.outcome == "complete":
                break
    except Exception:  # noqa: BLE001 - whatever it is, it is counted
        done.uncaught = traceback.format_exc()
    return done


def _live(
    given: Assignment,
    faults: tuple[Planned, ...],
    seed: int,
    book: Notebook,
    done: Drill,
    aside: bytes | None,
    *,
    operator: bool,
) -> bytes:
    machine = taken_up(aside) if aside is not None else None
    before = standing(book.events) if aside is not None else None
    rehearsal = Rehearsal(
        controller_for(given, before),
        given.machine,
        given.job,
        given.plan,
        load_plant(None),
        seed,
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

    rehearsal.watch = watch
    start = len(book.events)
    while rehearsal.step(1000):
        if rehearsal.time_s > LIMIT_S:
            done.reason = f"no end by {LIMIT_S:.0f} s"
            break
    _note(done, book, start, rehearsal, monitor)
    return rehearsal.put_aside()


def _note(done: Drill, book: Notebook, start: int, rehearsal: Rehearsal, monitor: PlantMonitor) -> None:
    done.breaches += monitor.breaches
    done.seconds = rehearsal.time_s
    if rehearsal.injector.done and done.injected_s is None:
        done.injected_s = rehearsal.injector.done[0][1]
    done.outcome = "endless"
    for event in book.events[start:]:
        match event:
            case FaultTripped():
                done.causes.append(event.cause)
                done.told_s = event.time_s if done.told_s is None else done.told_s
            case PromptRaised():
                done.prompts.append(event.topic)
            case ShortEnded():
                done.shorts.append(event.cause)
            case HoleFinished():
                done.holes.append((event.hole, event.outcome, event.reason))
            case RunEnded():
                done.outcome, done.reason = event.outcome, event.reason
            case _:
                pass


def small_job() -> Assignment:
    """The coupon on the virtual machine: six holes in thin sheet."""
    return assignment("coupon.toml", "virtual.toml", rehearsed=True)
