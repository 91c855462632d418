"""`gapwright rehearse`: a whole job on the virtual machine, in virtual time."""

from __future__ import annotations

import gc
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic
from typing import Annotated

import typer

from controller.core.controller import Controller
from controller.core.events import RunEnded
from controller.ending import EXIT, show_summary
from controller.record.journal import GaugedHole, Journal, StartRecord, StopRecord, append_gauged
from controller.record.run_folder import complete_run_folder, make_run_folder
from controller.record.summary import summary_json
from controller.screen import (
    AsJson,
    BadUsage,
    HoleProgressBar,
    Interruption,
    JobName,
    MachineName,
    err,
    interruption,
    out,
)
from controller.settings.load import resolve
from controller.watchable import Watched, about, watched
from controller.workshop import Assignment, assignment, controller_for, expected_seconds, placed_holes, start_record
from sim.operator import GAUGING_U_MM
from sim.rehearsal import Rehearsal
from sim.settings import PlantSettings, load_plant

# Ticks between two looks at the keyboard and the progress bar: 20 s of machine time, some 30 ms of ours. Chosen so that
# looking costs nothing and Ctrl-C is heeded at once.
STEP_TICKS = 2000

# Faults that this version can inject, by name. There are none yet.
FAULTS: frozenset[str] = frozenset()
FAULT_SPEC = re.compile(r"(?P<name>[a-z0-9-]+)@(?:t:\d+(?:\.\d+)?s|hole:\d+(?:\+\d+(?:\.\d+)?s)?)")


def rehearse(
    job: JobName,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the plant's noise and the virtual operator.")] = 1,
    run: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="The run folder: absent or empty.", show_default="runs/<start>-<job>"
        ),
    ] = None,
    machine: MachineName = "virtual.toml",
    plant: Annotated[str | None, typer.Option("--plant", help="Plant file laid over the default plant.")] = None,
    fault: Annotated[
        list[str] | None, typer.Option("--fault", metavar="SPEC", help="NAME@t:1200s or NAME@hole:12+3s.")
    ] = None,
    no_operator: Annotated[
        bool, typer.Option("--no-operator", help="Nobody answers: end at the first prompt.")
    ] = False,
    first_article: Annotated[
        list[Path] | None,
        typer.Option("--first-article", metavar="RUN", help="Believe the holes gauged in this run and no others."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Rehearse a whole job on the virtual machine; nothing moves and nothing is switched on."""
    began_s = monotonic()
    _refuse_unknown_faults(fault or ())
    given = assignment(job, machine, rehearsed=True, first_articles=first_article or ())
    truth = load_plant(resolve(plant, kind="plants") if plant else None)
    started = datetime.now(UTC)
    folder = run or Path("runs") / f"{started:%Y%m%d-%H%M%S}-{given.job.job.name}"
    order = Order(given, truth, seed, folder, not no_operator)
    # From here on the folder exists, so Ctrl-C must leave it complete as far as the rehearsal got.
    with interruption() as stop:
        make_run_folder(folder)
        if not as_json:
            _announce(given, seed, folder)
        start = start_record(given, _stamp(started), seed=seed, plant_toml=plant_text(truth))
        ended = _rehearse(order, start, stop, quiet=as_json, began_s=began_s)
        summary = complete_run_folder(folder)
    if as_json:
        out.print(summary_json(summary), markup=False, highlight=False, soft_wrap=True, end="")
    else:
        show_summary(summary, folder)
    raise typer.Exit(EXIT[ended.outcome])


def plant_text(plant: PlantSettings) -> str:
    """The whole plant as TOML, overlay included: what the rehearsal really ran on."""
    lines = []
    for section, entries in plant.model_dump().items():
        lines += [f"[{section}]", *(f"{key} = {_toml(entry)}" for key, entry in entries.items()), ""]
    return "\n".join(lines)


def _toml(entry: object) -> str:
    if isinstance(entry, bool):
        return str(entry).lower()
    return f'"{entry}"' if isinstance(entry, str) else repr(entry)


def _refuse_unknown_faults(specs: Sequence[str]) -> None:
    for spec in specs:
        form = FAULT_SPEC.fullmatch(spec)
        if form is None:
            raise BadUsage(f"--fault {spec}: not of the form NAME@t:1200s or NAME@hole:12+3s")
        if form["name"] not in FAULTS:
            raise BadUsage(f"--fault {spec}: this version has no fault named {form['name']}; it can inject none yet")


@dataclass(slots=True, frozen=True)
class Order:
    """One rehearsal to be made: what is given, the plant's truth, the seed, the folder, and whether anybody answers."""

    given: Assignment
    plant: PlantSettings
    seed: int
    folder: Path
    operator: bool


def _rehearse(order: Order, start: StartRecord, interrupted: Interruption, *, quiet: bool, began_s: float) -> RunEnded:
    """Run the rehearsal into its journal. A mistake of the program leaves the journal as far as it got."""
    given = order.given
    placed = placed_holes(given)
    journal = Journal(order.folder, start, placed)
    stop: StopRecord | None = None
    try:
        core = controller_for(given)
        with (
            watched(journal, about(str(order.folder), start, placed, expected_seconds(given))) as sink,
            HoleProgressBar(len(placed), given.job.job.name, quiet=quiet) as progress,
        ):
            rehearsal = Rehearsal(
                core, given.machine, given.job, given.plan, order.plant, order.seed, sink, operator=order.operator
            )
            # What is loaded by now stays: the collector need not look through it again and again during a long job.
            gc.freeze()
            ended = _until_ended(rehearsal, core, sink, progress, interrupted)
        stop = StopRecord(
            outcome=ended.outcome,
            reason=ended.reason,
            machine_s=rehearsal.time_s,
            wall_s=monotonic() - began_s,
            stopped_utc=_stamp(datetime.now(UTC)),
        )
    finally:
        journal.close(stop)
    if given.job.job.first_article:
        append_gauged(order.folder, _gauged_by_the_operator(rehearsal, given, start.started_utc))
    return ended


def _until_ended(
    rehearsal: Rehearsal, core: Controller, sink: Watched, progress: HoleProgressBar, interrupted: Interruption
) -> RunEnded:
    while rehearsal.ended is None:
        rehearsal.step(STEP_TICKS)
        seen = core.snapshot()
        progress.show(seen.holes_done, seen.doing, last=rehearsal.ended is not None)
        rehearsal.ask(sink.look(seen))
        if interrupted.asked:
            rehearsal.end("aborted", "interrupted by the user")
    return rehearsal.ended


def _gauged_by_the_operator(rehearsal: Rehearsal, given: Assignment, when_utc: str) -> list[GaugedHole]:
    """The holes of a first article, gauged by the virtual operator. Blind ones can't be."""
    rod_mm = given.job.electrode.diameter_mm
    return [
        GaugedHole(hole, diameter_mm, GAUGING_U_MM, rod_mm, when_utc)
        for hole, diameter_mm in rehearsal.gauged_diameters_mm()
    ]


def _stamp(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"


def _announce(given: Assignment, seed: int, folder: Path) -> None:
    job = f"{given.job.job.name} ({len(given.plan.holes)} holes)"
    for line in (
        f"Rehearsing {job} on the virtual machine, seed {seed}, into {folder}",
        f"Overcut believed: {given.belief.words()}",
    ):
        err.print(line, markup=False, highlight=False, soft_wrap=True)
