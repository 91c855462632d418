"""`gapwright locate …`: where a plate lies, found by touching it, on the real machine or in a rehearsal."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from controller.commands_locate_reference import reference_plate
from controller.commands_locate_rod import rod
from controller.commands_locate_screen import screen
from controller.core.cycles.locate import locate_corner, locate_edge, locate_plane, locate_round, make_ready
from controller.core.cycles.travel import rise_to_top
from controller.core.events import Event, RunEnded, SideTouched, Touched
from controller.core.found import Corner, Edge, FacePlane, Round
from controller.core.rig import Bench, Cycle
from controller.located_words import Found, found_lines, frame_json, frame_lines, water_lines
from controller.locating import (
    OFF_MM,
    TURN_OFF_DEG,
    Anew,
    At,
    MachineFile,
    Near,
    PlaceOff,
    PlantFile,
    Rehearse,
    Seed,
    Turned,
    TurnOff,
    Wanted,
    Yes,
    carried_out,
    wanted_of,
)
from controller.plan.work_frame import frame_from
from controller.record.located import STAMP, Entry, append_located, located_file, read_located
from controller.screen import AsJson, BadUsage, JobName, out

app = typer.Typer(
    no_args_is_help=True,
    help="Find a plate by touching it: its face, an edge, a corner, a bore or a boss; the reference plate; the rod.",
)
app.command("reference")(reference_plate)
app.command("rod")(rod)
app.command("screen")(screen)


@dataclass(slots=True, frozen=True)
class Outcome:
    """How it ended, what happened, and what was found (the face first)."""

    ended: RunEnded
    events: Sequence[Event]
    found: Sequence[Any]


Finder = Callable[[Bench, FacePlane], Cycle[Found]]


@app.command("plane")
def plane(
    job: JobName,
    machine: MachineFile = None,
    near: Near = None,
    turned: Turned = None,
    off: PlaceOff = OFF_MM,
    turn_off: TurnOff = TURN_OFF_DEG,
    rehearse: Rehearse = False,
    seed: Seed = 1,
    plant: PlantFile = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Touch the face at the job's touch points: height, slope, and how flat it is."""
    wanted = wanted_of("plane", job, machine, near, turned, off, turn_off, (0.0, 0.0), rehearse=rehearse)
    _locate(wanted, None, seed, plant, anew=False, yes=yes, as_json=as_json)


@app.command("corner")
def corner(
    job: JobName,
    machine: MachineFile = None,
    near: Near = None,
    turned: Turned = None,
    off: PlaceOff = OFF_MM,
    turn_off: TurnOff = TURN_OFF_DEG,
    at: At = (0.0, 0.0),
    inside: Annotated[bool, typer.Option("--inside", help="The corner of a pocket or window.")] = False,
    new: Anew = False,
    rehearse: Rehearse = False,
    seed: Seed = 1,
    plant: PlantFile = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Touch both edges at a corner: the job's place and rotation. The first edge runs along the job's x."""
    wanted = wanted_of("corner", job, machine, near, turned, off, turn_off, at, rehearse=rehearse)

    def find(bench: Bench, face: FacePlane) -> Cycle[Found]:
        return (yield from locate_corner(bench, wanted.about, face, at, inside=inside))

    _locate(wanted, find, seed, plant, anew=new, yes=yes, as_json=as_json)


@app.command("edge")
def edge(
    job: JobName,
    machine: MachineFile = None,
    near: Near = None,
    turned: Turned = None,
    off: PlaceOff = OFF_MM,
    turn_off: TurnOff = TURN_OFF_DEG,
    at: At = (0.0, 0.0),
    along: Annotated[str, typer.Option("--along", help="Axis of the job along which it runs: x or y.")] = "x",
    new: Anew = False,
    rehearse: Rehearse = False,
    seed: Seed = 1,
    plant: PlantFile = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Touch one straight edge: the job's rotation. It begins at --at and has the plate to its left (x) or right (y)."""
    if along not in ("x", "y"):
        raise BadUsage(f"--along {along}: must be x or y")
    axis = "xy".index(along)
    wanted = wanted_of("edge", job, machine, near, turned, off, turn_off, at, rehearse=rehearse, along=axis)

    def find(bench: Bench, face: FacePlane) -> Cycle[Found]:
        return (yield from locate_edge(bench, wanted.about, face, at, axis))

    _locate(wanted, find, seed, plant, anew=new, yes=yes, as_json=as_json)


@app.command("bore")
def bore(
    job: JobName,
    at: Annotated[tuple[float, float], typer.Option("--at", metavar="X Y", help="Where the drawing has it, job mm.")],
    diameter: Annotated[float, typer.Option("--diameter", metavar="MM", min=0.1, help="Roughly.")],
    machine: MachineFile = None,
    near: Near = None,
    turned: Turned = None,
    off: PlaceOff = OFF_MM,
    turn_off: TurnOff = TURN_OFF_DEG,
    new: Anew = False,
    rehearse: Rehearse = False,
    seed: Seed = 1,
    plant: PlantFile = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Touch a round hole from inside, from eight directions: its middle and diameter."""
    wanted = wanted_of("bore", job, machine, near, turned, off, turn_off, at, rehearse=rehearse)

    def find(bench: Bench, face: FacePlane) -> Cycle[Found]:
        return (yield from locate_round(bench, wanted.about, face, at, diameter, None))

    _locate(wanted, find, seed, plant, anew=new, yes=yes, as_json=as_json)


@app.command("boss")
def boss(
    job: JobName,
    at: Annotated[tuple[float, float], typer.Option("--at", metavar="X Y", help="Where the drawing has it, job mm.")],
    diameter: Annotated[float, typer.Option("--diameter", metavar="MM", min=0.1, help="Roughly.")],
    height: Annotated[float, typer.Option("--height", metavar="MM", min=0.5, help="How far it stands up.")],
    machine: MachineFile = None,
    near: Near = None,
    turned: Turned = None,
    off: PlaceOff = OFF_MM,
    turn_off: TurnOff = TURN_OFF_DEG,
    new: Anew = False,
    rehearse: Rehearse = False,
    seed: Seed = 1,
    plant: PlantFile = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Touch a round stud from outside, from eight directions: its middle and diameter."""
    wanted = wanted_of("boss", job, machine, near, turned, off, turn_off, at, rehearse=rehearse)

    def find(bench: Bench, face: FacePlane) -> Cycle[Found]:
        return (yield from locate_round(bench, wanted.about, face, at, diameter, height))

    _locate(wanted, find, seed, plant, anew=new, yes=yes, as_json=as_json)


def _cycle(bench: Bench, wanted: Wanted, find: Finder | None, found: list[Found]) -> Cycle[RunEnded]:
    """Make ready, touch the face, find the thing, rise."""
    yield from make_ready(bench)
    face = yield from locate_plane(bench, wanted.about)
    found.append(face)
    if find is not None:
        found.append((yield from find(bench, face)))
    yield from rise_to_top(bench)
    return RunEnded(bench.now_s, "complete", f"the {wanted.what} was located")


def _locate(
    wanted: Wanted, find: Finder | None, seed: int, plant: str | None, *, anew: bool, yes: bool, as_json: bool
) -> None:
    found: list[Found] = []

    def work(bench: Bench) -> Cycle[RunEnded]:
        return _cycle(bench, wanted, find, found)

    ended, events = carried_out(
        wanted.machine, wanted.job, work, rehearse=wanted.rehearsed, seed=seed, plant=plant, yes=yes, quiet=as_json
    )
    outcome = Outcome(ended, events, found)
    plate = wanted.job.work.plate or wanted.job.job.name
    kept = located_file(Path(), wanted.machine.name, plate)
    entry = _entry(wanted, outcome)
    fresh = [Entry(what="new", when_utc=entry.when_utc, rehearsed=wanted.rehearsed)] if anew else []
    append_located(kept, [*fresh, entry])
    counts = read_located(kept, rehearsed=wanted.rehearsed)
    frame = frame_from([each.feature() for each in counts])
    if as_json:
        told = {
            "what": wanted.what,
            "seconds": outcome.ended.time_s,
            "kept": str(kept),
            "found": entry.model_dump(exclude={"when_utc"}),
            "touches": [event.row() for event in outcome.events if isinstance(event, Touched | SideTouched)],
            "frame": frame if isinstance(frame, str) else frame_json(frame),
        }
        out.print(json.dumps(told, indent=2), markup=False, highlight=False, soft_wrap=True)
        return
    face, thing = found[0], found[-1]
    lines = found_lines(face, thing, wanted.machine.axes, outcome.ended.time_s) if isinstance(face, FacePlane) else []
    for line in (*lines, *water_lines(outcome.events), *frame_lines(wanted.job, frame, plate, kept)):
        out.print(line, markup=False, highlight=False, soft_wrap=True)


def _entry(wanted: Wanted, outcome: Outcome) -> Entry:
    face, thing = outcome.found[0], outcome.found[-1]
    entry = Entry(
        what=wanted.what,
        when_utc=f"{datetime.now(UTC):{STAMP}}",
        rehearsed=wanted.rehearsed,
        job=wanted.job.job.name,
        at_mm=wanted.at_mm,
        along=wanted.along,
        face_mm=(face.x_mm, face.y_mm, face.z_mm),
        u_face_mm=face.u_z_mm,
        slope=face.slope,
    )
    match thing:
        case Corner():
            return entry.model_copy(
                update={
                    "x_mm": thing.x_mm,
                    "y_mm": thing.y_mm,
                    "u_mm": (thing.u_x_mm, thing.u_y_mm),
                    "angle_deg": thing.angle_deg,
                    "u_angle_deg": thing.u_angle_deg,
                }
            )
        case Edge():
            return entry.model_copy(
                update={
                    "x_mm": thing.x_mm,
                    "y_mm": thing.y_mm,
                    "u_mm": (thing.u_across_mm, thing.u_across_mm),
                    "angle_deg": thing.angle_deg,
                    "u_angle_deg": thing.u_angle_deg,
                }
            )
        case Round():
            return entry.model_copy(
                update={
                    "x_mm": thing.x_mm,
                    "y_mm": thing.y_mm,
                    "u_mm": (thing.u_x_mm, thing.u_y_mm),
                    "diameter_mm": thing.diameter_mm,
                }
            )
    return entry
