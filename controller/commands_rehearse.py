"""`gapwright rehearse`: a whole job on the virtual machine, in virtual time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from controller.ending import EXIT, show_summary
from controller.record.journal import Journal
from controller.record.run_folder import complete_run_folder, make_run_folder
from controller.record.summary import summary_json
from controller.rehearsing import Order, gauge_first_article, rehearse_into, stamp
from controller.screen import (
    AsJson,
    BadUsage,
    JobName,
    MachineName,
    err,
    interruption,
    out,
)
from controller.settings.load import resolve
from controller.watchable import about
from controller.workshop import Assignment, assignment, expected_seconds, placed_holes, start_record
from sim.faults import FORMS, BadFaultError, Planned, planned
from sim.settings import PlantSettings, load_plant


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
        list[str] | None, typer.Option("--fault", metavar="SPEC", help=f"What goes wrong: {FORMS}.")
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
    given = assignment(job, machine, rehearsed=True, first_articles=first_article or ())
    faults = _planned(fault or (), given.machine.motion.convention)
    truth = load_plant(resolve(plant, kind="plants") if plant else None)
    started = datetime.now(UTC)
    folder = run or Path("runs") / f"{started:%Y%m%d-%H%M%S}-{given.job.job.name}"
    # From here on the folder exists, so Ctrl-C must leave it complete as far as the rehearsal got.
    with interruption() as stop:
        make_run_folder(folder)
        if not as_json:
            _announce(given, seed, folder)
        start = start_record(given, stamp(started), seed=seed, plant_toml=plant_text(truth), operator=not no_operator)
        placed = placed_holes(given)
        journal = Journal(folder, start, placed)
        told = about(str(folder), start, placed, expected_seconds(given))
        order = Order(given, told, truth, seed, not no_operator, faults)
        rehearsal, outcome = rehearse_into(journal, order, stop, quiet=as_json)
        if given.job.job.first_article:
            gauge_first_article(rehearsal, given, folder, start.started_utc)
        summary = complete_run_folder(folder)
    if as_json:
        out.print(summary_json(summary), markup=False, highlight=False, soft_wrap=True, end="")
    else:
        show_summary(summary, folder)
    raise typer.Exit(EXIT[outcome])


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


def _planned(specs: Sequence[str], convention: str) -> tuple[Planned, ...]:
    try:
        return tuple(planned(spec, convention, rehearsed=True) for spec in specs)
    except BadFaultError as bad:
        raise BadUsage(str(bad)) from bad


def _announce(given: Assignment, seed: int, folder: Path) -> None:
    job = f"{given.job.job.name} ({len(given.plan.holes)} holes)"
    for line in (
        f"Rehearsing {job} on the virtual machine, seed {seed}, into {folder}",
        f"Overcut believed: {given.belief.words()}",
    ):
        err.print(line, markup=False, highlight=False, soft_wrap=True)
