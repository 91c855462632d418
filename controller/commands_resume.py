"""`gapwright resume`: a run goes on, however it ended: held, faulted, killed, or cut off from power."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from controller.cautions import acknowledge
from controller.commands_publish import load_broker
from controller.commands_run import Order as RunOrder
from controller.commands_run import carry_out
from controller.core.standing import Standing
from controller.ending import EXIT, show_summary
from controller.host.stop_signals import stop_signals
from controller.host.typed import Typed, somebody_sits_at
from controller.record.journal import Journal, RunRecord, read_aside, read_journal
from controller.record.lock import wait_until_free
from controller.record.summary import summarise, summary_json
from controller.rehearsing import Order, completed, gauge_first_article, rehearse_into
from controller.screen import AsJson, BadUsage, err, has_terminal, interruption, out
from controller.settings.load import load_text
from controller.taking_up import as_it_was, refuse_changes, refuse_versions, where_it_stands
from controller.watchable import about
from controller.workshop import expected_seconds
from sim.aside import AsideError, taken_up
from sim.settings import PlantSettings

# The clerk of a run that was killed puts its folder in order before it lets go of it; so long at the most (s). Chosen.
CLERK_S = 10.0


def resume(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="The folder of the run.")],
    headless: Annotated[
        bool, typer.Option("--headless", help="Nobody sits here: end held at the first prompt.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="The cautions were read: for scripts.")] = False,
    broker: Annotated[
        Path | None, typer.Option("--broker", metavar="FILE", help="Tell it over MQTT, too; see docs/mqtt.md.")
    ] = None,
    attended: Annotated[bool, typer.Option("--attended", hidden=True, help="A screen stands in front.")] = False,
    as_json: AsJson = False,
) -> None:
    """Go on with a run that ended early or broke off: reference, measure, compare, then the holes that are left."""
    if run.is_dir() and not wait_until_free(run, 0.0):
        err.print(f"{run}: its record is still being written; waiting for {CLERK_S:.0f} s", markup=False)
        wait_until_free(run, CLERK_S)
    record = read_journal(run)
    stands = where_it_stands(record, run)
    machine = refuse_changes(record.start, run)
    if broker is not None:
        _refuse_broker(record, broker)
    if not as_json:
        _announce(record, stands, run)
    if record.start.rehearsed:
        outcome = _rehearsal(record, stands, run, quiet=as_json)
        summary = completed(run)
    elif not (headless or attended or as_json) and has_terminal():
        raise typer.Exit(_behind_the_screen(run, record.start.job, broker, yes=yes))
    else:
        given = as_it_was(record.start, machine)
        order = RunOrder(given, run, False, as_json, broker, record.start, stands)
        outcome = _machine(order, headless=headless, yes=yes)
        summary = summarise(read_journal(run))
    if as_json:
        out.print(summary_json(summary), markup=False, highlight=False, soft_wrap=True, end="")
    else:
        show_summary(summary, run)
    raise typer.Exit(EXIT[outcome])


def _refuse_broker(record: RunRecord, broker: Path) -> None:
    """Raises BadUsage for a rehearsal, which has no bus, and SettingsError for a broker file with mistakes."""
    if record.start.rehearsed:
        raise BadUsage("--broker: a rehearsal is not told over MQTT; leave it out")
    load_broker(broker)


def _behind_the_screen(run: Path, job: str, broker: Path | None, *, yes: bool) -> int:
    """Go on in a process of its own, the screen in front; returns the exit code."""
    from controller.behind import acknowledge_on_screen, in_front_of  # noqa: PLC0415 (loads the screen)

    acknowledge_on_screen(job, yes=yes)
    told = [f"--broker={broker}"] if broker is not None else []
    return in_front_of(["resume", str(run), "--yes", "--attended", *told], run)


def _machine(order: RunOrder, *, headless: bool, yes: bool) -> str:
    """Go on with a run on its machine, over the wires."""
    acknowledge(yes=yes)
    typed = Typed(sys.stdin) if not headless and somebody_sits_at(sys.stdin) else None
    with stop_signals() as stop:
        return carry_out(order, stop, typed, start=datetime.now(UTC), attended=not headless)


def _rehearsal(record: RunRecord, stands: Standing, run: Path, *, quiet: bool) -> str:
    """Go on with a rehearsal on the machine that was put aside, mended and left alone for a while."""
    start = record.start
    refuse_versions(start, run)
    aside = read_aside(run)
    if aside is None:
        raise BadUsage(f"{run}: its virtual machine was never put aside: it broke off too soon; rehearse anew")
    try:
        machine = taken_up(aside)
    except AsideError as error:
        raise BadUsage(f"{run}: {error}; rehearse anew") from error
    machine.injector.mend()
    given = as_it_was(start)
    plant = load_text(start.plant_toml, "plant", PlantSettings)
    told = about(str(run), start, record.planned, expected_seconds(given))
    order = Order(given, told, plant, start.seed or 0, start.operator, before=stands, aside=machine)
    with interruption() as stop:
        journal = Journal.reopen(run)
        gauged, outcome = rehearse_into(journal, order, stop, quiet=quiet)
        if given.job.job.first_article and outcome == "complete":
            gauge_first_article(gauged, given, run, start.started_utc)
    return outcome


def _announce(record: RunRecord, stands: Standing, run: Path) -> None:
    left = len(record.planned) - len(stands.finished)
    begun = f", hole {stands.begun} was begun" if stands.begun else ""
    line = f"Going on with {run} ({stands.after}): {len(stands.finished)} holes made, {left} left{begun}"
    err.print(line, markup=False, highlight=False, soft_wrap=True)
