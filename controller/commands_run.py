"""`gapwright run`: a whole job on a real machine (or a simulated one), over its two wires, in real time."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic
from typing import Annotated

import typer

from controller.cautions import acknowledge
from controller.clerk import clerk_process
from controller.commands_publish import load_broker
from controller.connecting import FAULT, OnMachine, opened, refuse_unfit
from controller.core.causes import MEANINGS, Cause
from controller.core.events import FaultTripped, Noticed, RunEnded
from controller.core.standing import Standing
from controller.ending import EXIT, show_summary
from controller.herald import herald_process
from controller.host.capture import head_bytes
from controller.host.desk import RunDesk
from controller.host.front_desk import NO_RECORD
from controller.host.line import Line
from controller.host.lookout import Lookout
from controller.host.loop import drive
from controller.host.outlet import Begin, Outlet
from controller.host.pacer import Pacer
from controller.host.realtime import be_on_time, be_ordinary
from controller.host.session import Session
from controller.host.stop_signals import StopSignals, stop_signals
from controller.host.typed import Typed, somebody_sits_at
from controller.link.machine_link import MachineLink
from controller.record.journal import StartRecord, StopRecord, read_journal
from controller.record.run_folder import refuse_taken
from controller.record.summary import Summary, summarise, summary_json
from controller.screen import AsJson, JobName, err, has_terminal, out
from controller.workshop import Assignment, assignment, controller_for, expected_seconds, placed_holes, start_record

# Machine time between two lives of a run: how long it was away is not known, and nothing hangs on it. Chosen (s).
AWAY_S = 1.0
CUT = "stopped at once: source off, motion stopped where it was; reference the axes before anything else"


def run(
    job: JobName,
    machine: OnMachine,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="The run folder: absent or empty.", show_default="runs/<start>-<job>"
        ),
    ] = None,
    headless: Annotated[
        bool, typer.Option("--headless", help="Nobody sits here: end held at the first prompt.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="The cautions were read: for scripts.")] = False,
    capture: Annotated[bool, typer.Option("--capture", help="Record every byte on both wires, for `replay`.")] = False,
    first_article: Annotated[
        list[Path] | None,
        typer.Option("--first-article", metavar="RUN", help="Believe the holes gauged in this run and no others."),
    ] = None,
    broker: Annotated[
        Path | None, typer.Option("--broker", metavar="FILE", help="Tell it over MQTT, too; see docs/mqtt.md.")
    ] = None,
    attended: Annotated[bool, typer.Option("--attended", hidden=True, help="A screen stands in front.")] = False,
    as_json: AsJson = False,
) -> None:
    """Run a job on the machine: everything moves, and the source is switched on."""
    given = assignment(job, machine, rehearsed=False, first_articles=first_article or ())
    started = datetime.now(UTC)
    into = folder or Path("runs") / f"{started:%Y%m%d-%H%M%S}-{given.job.job.name}"
    order = Order(given, into, capture, as_json, broker)
    refuse_taken(order.folder)
    if broker is not None:
        load_broker(broker)
    if not (headless or attended or as_json) and has_terminal():
        raise typer.Exit(_behind_the_screen(job, machine, order, first_article or (), yes=yes))
    acknowledge(yes=yes)
    typed = Typed(sys.stdin) if not headless and somebody_sits_at(sys.stdin) else None
    with stop_signals() as stop:
        outcome = carry_out(order, stop, typed, start=started, attended=not headless)
    summary = summarise(read_journal(order.folder))
    _show(summary, order)
    raise typer.Exit(EXIT[outcome])


@dataclass(slots=True, frozen=True)
class Order:
    """One run to be made: what is given, its folder, whether every byte is recorded, whether to keep quiet.

    With a `broker` it is told over MQTT, too. Taken up again, `record` is how it began and `before` where it stands.
    """

    given: Assignment
    folder: Path
    captures: bool
    quiet: bool
    broker: Path | None = None
    record: StartRecord | None = None
    before: Standing | None = None


def _behind_the_screen(job: str, machine: str, order: Order, first_articles: Sequence[Path], *, yes: bool) -> int:
    """Run it in a process of its own, the screen in front; returns the exit code."""
    from controller.behind import acknowledge_on_screen, in_front_of  # noqa: PLC0415 (loads the screen)

    acknowledge_on_screen(order.given.job.job.name, yes=yes)
    arguments = ["run", job, "--machine", machine, "--out", str(order.folder), "--yes", "--attended"]
    arguments += ["--capture"] if order.captures else []
    arguments += [f"--broker={order.broker}"] if order.broker is not None else []
    return in_front_of([*arguments, *(f"--first-article={run}" for run in first_articles)], order.folder)


def carry_out(order: Order, stop: StopSignals, typed: Typed | None, *, start: datetime, attended: bool) -> str:
    """Connect, run, record; returns the outcome."""
    began_s = monotonic()
    with (
        herald_process() as (line, recorded),
        clerk_process(recorded, quiet=order.quiet, answered=typed is not None) as outlet,
    ):
        wires = opened(order.given.machine)
        refusals = be_on_time()
        _announce(order, refusals)
        before_s = order.before.time_s + AWAY_S if order.before else 0.0
        core = controller_for(order.given, order.before)
        session = Session(MachineLink(order.given.machine), core, before_s)
        desk = _desk(order, outlet, line, stop, typed, refusals, _stamp(start), attended=attended)
        try:
            machine = order.given.machine
            pacer = drive(session, wires, 1.0 / machine.tick_hz, desk, Lookout(machine.sampler))
        finally:
            be_ordinary()
        if not desk.begun:
            refuse_unfit(session, interrupted=desk.interrupted)
        ended = _ended(session, desk, pacer)
        wall_s = monotonic() - began_s
        stamp = _stamp(datetime.now(UTC))
        desk.stop(
            StopRecord(
                outcome=ended.outcome, reason=ended.reason, machine_s=desk.time_s, wall_s=wall_s, stopped_utc=stamp
            )
        )
    if outlet.broken:
        err.print(f"{NO_RECORD}: {order.folder} is not complete", markup=False, highlight=False, soft_wrap=True)
        raise typer.Exit(FAULT)
    return ended.outcome


def _desk(
    order: Order,
    outlet: Outlet,
    line: Line,
    stop: StopSignals,
    typed: Typed | None,
    refusals: list[str],
    started_utc: str,
    *,
    attended: bool,
) -> RunDesk:
    def begin() -> Begin:
        start = order.record or start_record(order.given, started_utc)
        capture = head_bytes(start) if order.captures else b""
        placed = tuple(placed_holes(order.given))
        resumed = order.before is not None
        return Begin(order.folder, start, placed, capture, expected_seconds(order.given), resumed, order.broker)

    return RunDesk(
        outlet, begin, stop, typed, herald=line, attended=attended, captures=order.captures, remarks=refusals
    )


def _ended(session: Session, desk: RunDesk, pacer: Pacer) -> RunEnded:
    """How the run ended, put on record where the core did not do so itself."""
    desk.note(Noticed(desk.time_s, "loop", pacer.words()))
    ended = session.ended
    trouble = desk.trouble
    if trouble:
        meaning = MEANINGS[Cause.NO_RECORD]
        desk.note(FaultTripped(desk.time_s, trouble, meaning.words, meaning.remedy))
        return RunEnded(desk.time_s, "fault", f"{trouble}: {meaning.words}. Remedy: {meaning.remedy}; then `resume`")
    if ended is None:
        ended = RunEnded(desk.time_s, "aborted" if desk.interrupted else "fault", CUT)
        desk.note(ended)
    elif ended.outcome == "held" and desk.interrupted:
        ended = RunEnded(ended.time_s, "aborted", ended.reason)
    return ended


def _announce(order: Order, refusals: list[str]) -> None:
    job = f"{order.given.job.job.name} ({len(order.given.plan.holes)} holes)"
    measured = order.given.calibration_words()
    lines = [
        f"Running {job} on {order.given.machine.name}, into {order.folder}",
        f"Overcut believed: {order.given.belief.words()}",
        *([f"Measured of the machine: {measured}"] if measured else []),
        *(f"Not as prompt as it could be: {refusal}" for refusal in refusals),
        "Connecting (some seconds) …",
    ]
    for line in lines if not order.quiet else ():
        err.print(line, markup=False, highlight=False, soft_wrap=True)


def _show(summary: Summary, order: Order) -> None:
    if order.quiet:
        out.print(summary_json(summary), markup=False, highlight=False, soft_wrap=True, end="")
    else:
        show_summary(summary, order.folder)


def _stamp(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"
