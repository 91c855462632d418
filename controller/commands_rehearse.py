"""`gapwright rehearse`: a whole job on the virtual machine, in virtual time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Final

import typer

from controller.ending import EXIT, show_summary
from controller.record.journal import Journal
from controller.record.run_folder import make_run_folder, refuse_taken
from controller.record.summary import summary_json
from controller.rehearsing import Order, completed, gauge_first_article, rehearse_into, stamp
from controller.screen import (
    AsJson,
    BadUsage,
    JobName,
    MachineName,
    err,
    interruption,
    out,
    refuse_no_terminal,
)
from controller.settings.load import resolve
from controller.watchable import about
from controller.workshop import Assignment, assignment, expected_seconds, placed_holes, start_record
from sim.injector import FORMS, BadFaultError, Planned, planned
from sim.settings import PlantSettings, load_plant

# Machine seconds for each second while somebody watches, unless he says otherwise. Chosen: a hole takes five seconds,
# and every phase can be seen.
WATCHED_SPEED: Final = 10.0


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
    watch: Annotated[bool, typer.Option("--watch", help="Show it on the screen, at `--speed`.")] = False,
    speed: Annotated[
        float | None,
        typer.Option(min=0.1, help="Machine seconds for each second.", show_default="all it can; with --watch 10"),
    ] = None,
    attended: Annotated[bool, typer.Option("--attended", hidden=True, help="A screen stands in front.")] = False,
    as_json: AsJson = False,
) -> None:
    """Rehearse a whole job on the virtual machine; nothing moves and nothing is switched on."""
    given = assignment(job, machine, rehearsed=True, first_articles=first_article or ())
    faults = _planned(fault or (), given.machine.motion.convention)
    truth = load_plant(resolve(plant, kind="plants") if plant else None)
    started = datetime.now(UTC)
    folder = run or Path("runs") / f"{started:%Y%m%d-%H%M%S}-{given.job.job.name}"
    if watch:
        refuse_no_terminal("--watch")
        refuse_taken(folder)
        arguments = ["rehearse", job, f"--seed={seed}", f"--out={folder}", f"--machine={machine}", "--attended"]
        arguments += [f"--speed={speed or WATCHED_SPEED}", *([f"--plant={plant}"] if plant else [])]
        arguments += [*(f"--fault={spec}" for spec in fault or ()), *(["--no-operator"] if no_operator else [])]
        raise typer.Exit(
            _behind_the_screen([*arguments, *(f"--first-article={each}" for each in first_article or ())], folder)
        )
    # From here on the folder exists, so Ctrl-C must leave it complete as far as the rehearsal got.
    with interruption() as stop:
        make_run_folder(folder)
        if not as_json:
            _announce(given, seed, folder)
        start = start_record(given, stamp(started), seed=seed, plant_toml=plant_text(truth), operator=not no_operator)
        placed = placed_holes(given)
        journal = Journal(folder, start, placed)
        told = about(str(folder), start, placed, expected_seconds(given))
        order = Order(given, told, truth, seed, not no_operator, faults, speed or 0.0, patient=attended)
        gauged, outcome = rehearse_into(journal, order, stop, quiet=as_json)
        # After a fault `resume` comes first, or the disk takes nothing.
        if given.job.job.first_article and outcome != "fault":
            gauge_first_article(gauged, given, folder, start.started_utc)
        summary = completed(folder)
    if as_json:
        out.print(summary_json(summary), markup=False, highlight=False, soft_wrap=True, end="")
    else:
        show_summary(summary, folder)
    raise typer.Exit(EXIT[outcome])


def _behind_the_screen(arguments: list[str], run: Path) -> int:
    from controller.behind import in_front_of  # noqa: PLC0415 (loads the screen)

    return in_front_of(arguments, run)


def plant_text(plant: PlantSettings) -> str:
    """The whole plant as TOML, overlay included: what the rehearsal really ran on."""
    lines = []
    for section, entries in plant.model_dump().items():
        lines += [f"[{section}]", *(f"{key} = {_toml(entry)}" for key, entry in entries.items()), ""]
    return "\n".join(lines)


def _toml(entry: object) -> str:
    if isinstance(entry, bool):
        return str(entry).lower()
    if isinstance(entry, tuple):
        return f"[{', '.join(_toml(part) for part in entry)}]"
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
