"""What every `gapwright locate …` needs: options, the files it is about, where to expect the plate, who does it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated

import typer

from controller.cautions import BEFORE_A_MOVE, acknowledge
from controller.core.commissioning import BenchWork
from controller.core.cycles.locate import About
from controller.core.events import Event, RunEnded
from controller.core.rig import Bench, Cycle
from controller.driving import driven
from controller.ending import EXIT
from controller.plan.frame import Frame
from controller.plan.patterns import places
from controller.plan.plan import Plan
from controller.screen import BadUsage, err
from controller.settings.job import Job, Point
from controller.settings.load import load_job, load_machine, resolve
from controller.settings.machine import Machine
from controller.workshop import machine_at_hand
from sim.machine import VirtualMachine
from sim.settings import load_plant
from sim.single import do_virtually

MachineFile = Annotated[
    str | None, typer.Option("--machine", help="Machine file; no default, but for --rehearse the virtual one.")
]
Near = Annotated[
    tuple[float, float] | None,
    typer.Option(
        "--near",
        metavar="X Y",
        help="Roughly where the job's zero lies, machine mm.",
        show_default="work_place.origin_mm",
    ),
]
Turned = Annotated[
    float | None,
    typer.Option(
        "--turned",
        metavar="DEG",
        help="Roughly how the job's x lies to the machine's.",
        show_default="work_place.rotation_deg",
    ),
]
PlaceOff = Annotated[float, typer.Option("--off", metavar="MM", min=0.1, help="How far --near may be off.")]
TurnOff = Annotated[float, typer.Option("--turn-off", metavar="DEG", min=0.1, max=15.0, help="And --turned.")]
At = Annotated[tuple[float, float], typer.Option("--at", metavar="X Y", help="Where the drawing has it, job mm.")]
Anew = Annotated[bool, typer.Option("--new", help="The plate was clamped anew: forget what was located on it.")]
Rehearse = Annotated[bool, typer.Option("--rehearse", help="On the virtual machine, in virtual time.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Seed of the virtual machine.")]
PlantFile = Annotated[str | None, typer.Option("--plant", help="Plant file: where the virtual plate really lies.")]
Yes = Annotated[bool, typer.Option("--yes", help="The cautions were read: for scripts.")]

OFF_MM, TURN_OFF_DEG = 2.0, 2.0
"""A plate laid by eye against a rule: chosen."""
LEAST_SPAN_MM = 15.0
"""A wall shorter than this gives no direction worth having. Chosen."""


@dataclass(slots=True, frozen=True)
class Wanted:
    """What is asked for, with everything loaded."""

    what: str
    job: Job
    machine: Machine
    about: About
    at_mm: Point
    rehearsed: bool
    along: int = 0


def machine_for(name: str | None, *, rehearse: bool) -> Machine:
    """The machine it is about. Raises BadUsage when none was named and it is no rehearsal."""
    if rehearse:
        return load_machine(resolve(name or "virtual.toml", kind="machines"))
    if name is None:
        raise BadUsage(
            "--machine is missing: name the machine file, or add --rehearse to try it on the virtual machine"
        )
    return machine_at_hand(name)


def wanted_of(
    what: str,
    job_name: str,
    machine_name: str | None,
    near: Point | None,
    turned: float | None,
    off_mm: float,
    turn_off_deg: float,
    at: Point,
    *,
    rehearse: bool,
    along: int = 0,
) -> Wanted:
    """What is asked for, loaded. Raises BadUsage where it can't be done."""
    machine = machine_for(machine_name, rehearse=rehearse)
    job = load_job(resolve(job_name, kind="jobs"))
    place = machine.work_place
    frame = Frame(near or place.origin_mm, place.rotation_deg if turned is None else turned)
    span = _span(job, at)
    needed = {"corner": (0, 1), "rod": (0, 1), "edge": (along,)}.get(what, ())
    short = [axis for axis in needed if span[axis] < LEAST_SPAN_MM]
    if short:
        name = "xy"[short[0]]
        raise BadUsage(
            f"the edge along {name} would be touched over {span[short[0]]:.0f} mm only, {LEAST_SPAN_MM:g} mm are "
            f"needed for its direction: give the plate's corners in work.outline_mm, or another --at"
        )
    about = About(
        frame,
        off_mm,
        turn_off_deg,
        job.work.thickness_mm,
        _inward(job, off_mm, turn_off_deg),
        (max(span[0], LEAST_SPAN_MM), max(span[1], LEAST_SPAN_MM)),
    )
    return Wanted(what, job, machine, about, at, rehearse, along)


def _span(job: Job, at: Point) -> tuple[float, float]:
    """How far along x and y from a place the plate surely has an edge: its outline, or what lies on it."""
    on_it = job.work.outline_mm or (*places(job.holes), *job.work.touch_points_mm)
    # A rounded or broken corner at the far end is no wall.
    spared = 5.0 if job.work.outline_mm else 0.0
    return (max(x for x, _ in on_it) - at[0] - spared, max(y for _, y in on_it) - at[1] - spared)


def _inward(job: Job, off_mm: float, turn_off_deg: float) -> tuple[Point, ...]:
    """The job's touch points moved toward their middle by as much as the plate may lie elsewhere than believed."""
    points = job.work.touch_points_mm
    mx, my = sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)
    moved = []
    for x, y in points:
        far = math.dist((x, y), (mx, my))
        by = off_mm + far * math.tan(math.radians(turn_off_deg)) + job.electrode.diameter_mm
        share = max(1.0 - by / far, 0.3) if far else 1.0
        moved.append((mx + (x - mx) * share, my + (y - my) * share))
    return tuple(moved)


def carried_out(
    machine: Machine,
    job: Job,
    work: Callable[[Bench], Cycle[RunEnded]],
    *,
    rehearse: bool,
    seed: int,
    plant: str | None = None,
    yes: bool,
    quiet: bool,
) -> tuple[RunEnded, Sequence[Event]]:
    """Do it, on the machine or the virtual one; how it ended and what it told. Exits with the reason when in vain."""
    core = BenchWork(machine, work, job.electrode.diameter_mm)
    if rehearse:
        events: Sequence[Event] = do_virtually(core, _virtual(machine, job, seed, plant), 1.0 / machine.tick_hz)
        ended = core.ended or RunEnded(0.0, "fault", "it never came to an end")
    else:
        acknowledge(yes=yes, before=BEFORE_A_MOVE)
        ended, events = driven(machine, core, quiet=quiet)
    if ended.outcome != "complete":
        err.print(f"Not located: {ended.reason}", markup=False, highlight=False, soft_wrap=True)
        raise typer.Exit(EXIT[ended.outcome])
    return ended, events


def _virtual(machine: Machine, job: Job, seed: int, plant: str | None) -> VirtualMachine:
    """The machine in virtual time, the plate where the files believe it, unless the plant says where it lies."""
    frame = Frame.of(machine.work_place)
    points = tuple(frame.to_machine(point) for point in (*places(job.holes), *job.work.touch_points_mm))
    return VirtualMachine(
        machine, job, Plan((), points), load_plant(resolve(plant, kind="plants") if plant else None), seed
    )
