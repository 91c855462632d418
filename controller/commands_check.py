"""`gapwright check`: commissioning step by step, each with a verdict, and a one-page record at the end."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic
from typing import Annotated, Final

import typer

from controller.cautions import BEFORE_A_CHECK, acknowledge
from controller.connecting import OnMachine, opened
from controller.core.checks.plan import CHECKS
from controller.core.commissioning import Commissioning
from controller.core.events import Checked, RunEnded
from controller.ending import EXIT
from controller.host.bench_desk import BenchDesk
from controller.host.loop import drive
from controller.host.realtime import be_on_time, be_ordinary
from controller.host.session import Session
from controller.host.stop_signals import StopSignals, stop_signals
from controller.host.typed import Typed, somebody_sits_at
from controller.link.findings import findings
from controller.link.machine_link import MachineLink
from controller.record.calibration import calibration_file, measured_by, read_calibration, write_calibration
from controller.record.commissioning import KINDS, About, write_commissioning
from controller.record.summary import spoken_time
from controller.screen import AsJson, BadUsage, out
from controller.settings.find import resolve
from controller.settings.load import load_machine
from controller.settings.machine import Machine
from controller.teller import tell_verdict, teller_process
from controller.workshop import versions

# How long each thing done by hand is waited for, where somebody sits at the terminal (s). Chosen: time to walk over.
HANDS_S: Final = 60.0
OUTCOMES: Final = {
    "complete": "fit for a job",
    "held": "not complete",
    "fault": "not fit for a job",
    "aborted": "not complete",
}


def check(
    machine: OnMachine,
    record: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="FILE",
            help="The record: a new .md or .html file.",
            show_default="commissioning-<machine>-<start>.md",
        ),
    ] = None,
    hands_s: Annotated[
        float | None,
        typer.Option(
            "--hands",
            metavar="SECONDS",
            min=0.0,
            help="How long to wait for each thing done by hand (stop, guard, float); 0: nobody is there.",
            show_default="60 where somebody sits here, else 0",
        ),
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="CHECK", help="Leave a check out, by its name.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="The cautions were read: for scripts.")] = False,
    as_json: AsJson = False,
) -> None:
    """Commission a machine: everything moves, and the source is switched on over a clear electrode.

    What nobody needs hands for is done by itself. Where a hand is wanted it is said, and the machine's own inputs tell
    that it was done. The record tells what failed, what could not be checked, and what to do.
    """
    machine_file = resolve(machine, kind="machines")
    started = datetime.now(UTC)
    believed = load_machine(machine_file)
    path = record or Path(f"commissioning-{believed.name}-{started:%Y%m%d-%H%M%S}.md")
    _refuse(path, without or ())
    before = read_calibration(Path(), believed.name)
    acknowledge(yes=yes, before=BEFORE_A_CHECK)
    typed = Typed(sys.stdin) if somebody_sits_at(sys.stdin) else None
    wait_s = hands_s if hands_s is not None else (HANDS_S if typed is not None else 0.0)
    order = Order(believed, wait_s, frozenset(without or ()), as_json)
    with stop_signals() as stop:
        done = _examine(order, stop, typed)
    ended = _ended(done)
    stamp = f"{started:%Y-%m-%dT%H:%M:%SZ}"
    calibration = measured_by(done.checks, believed.name, stamp, before)
    words = ""
    if calibration is not None:
        write_calibration(Path(), calibration, before)
        words = f"{calibration.words()}; in {calibration_file(Path(), believed.name)}"
    write_commissioning(path, _about(done, ended, machine_file, stamp, words), done.checks)
    _show(done.checks, ended, path, words, as_json=as_json)
    raise typer.Exit(EXIT[ended.outcome])


@dataclass(slots=True, frozen=True)
class Order:
    """A commissioning to be made."""

    machine: Machine
    hands_s: float
    without: frozenset[str]
    quiet: bool


@dataclass(slots=True, frozen=True)
class Done:
    """A commissioning that is over."""

    machine: Machine
    checks: list[Checked]
    ended: RunEnded | None
    interrupted: bool
    took_s: float
    loop: str


def _refuse(path: Path, without: Sequence[str]) -> None:
    if path.suffix not in KINDS:
        raise BadUsage(f"--out {path}: must end in {' or '.join(KINDS)}")
    if path.exists():
        raise BadUsage(f"--out {path}: is there already; name a new file")
    if not path.parent.is_dir():
        raise BadUsage(f"--out {path}: there is no folder {path.parent}")
    names = [each.name for each in CHECKS]
    for name in without:
        if name not in names:
            raise BadUsage(f"--without {name}: no check is named so; there are {', '.join(names)}")


def _examine(order: Order, stop: StopSignals, typed: Typed | None) -> Done:
    """Connect, check, and keep what was found."""
    began_s = monotonic()
    machine = order.machine
    with teller_process(quiet=order.quiet) as outlet:
        wires = opened(machine)
        link = MachineLink(machine)
        core = Commissioning(machine, answers=typed is not None, hands_s=order.hands_s, left_out=order.without)
        session = Session(link, core, lenient=True)
        outlet.put(f"Checking {machine.name}. Connecting (some seconds) …")
        for refusal in be_on_time():
            outlet.put(f"Not as prompt as it could be: {refusal}")
        outlet.flush()
        desk = BenchDesk(outlet, stop, typed, lambda _, now_s: findings(link, machine, now_s))
        try:
            pacer = drive(session, wires, 1.0 / machine.tick_hz, desk)
        finally:
            be_ordinary()
    checks = [event for event in desk.events if isinstance(event, Checked)]
    if not session.driving and not desk.interrupted:
        checks = findings(link, machine, desk.time_s)
        for each in checks if not order.quiet else ():
            tell_verdict(each)
    return Done(machine, checks, session.ended, desk.interrupted, monotonic() - began_s, pacer.words())


def _ended(done: Done) -> RunEnded:
    """How it ended, the boards' own verdicts taken in."""
    if done.interrupted:
        return RunEnded(done.took_s, "aborted", "interrupted by the user: what is missing was not checked")
    bad = [check.name for check in done.checks if check.outcome == "fail"]
    if bad:
        why = "" if done.ended is None or done.ended.reason.startswith("failed: ") else f"; {done.ended.reason}"
        return RunEnded(done.took_s, "fault", f"failed: {', '.join(bad)}{why}")
    return done.ended or RunEnded(done.took_s, "fault", "the loop ended before the checks did")


def _about(done: Done, ended: RunEnded, machine_file: Path, stamp: str, calibration: str) -> About:
    machine = done.machine
    known = versions()
    return About(
        machine=machine.name,
        machine_file=str(machine_file),
        convention=machine.motion.convention,
        board_port=machine.motion.port,
        sampler_port=machine.sampler.port,
        front_end=machine.sampler.front_end,
        when_utc=stamp,
        took=spoken_time(done.took_s),
        outcome=OUTCOMES[ended.outcome],
        reason=ended.reason,
        versions=f"gapwright {known['gapwright']}, python {known['python']}",
        loop=done.loop,
        calibration=calibration,
    )


def _show(checks: Sequence[Checked], ended: RunEnded, path: Path, calibration: str, *, as_json: bool) -> None:
    if as_json:
        held = {
            "outcome": ended.outcome,
            "reason": ended.reason,
            "record": str(path),
            "checks": [check.row() for check in checks],
        }
        out.print(json.dumps(held), markup=False, highlight=False, soft_wrap=True)
        return
    counts = Counter(check.outcome for check in checks)
    style = {"complete": "bold green", "held": "bold yellow"}.get(ended.outcome, "bold red")
    out.print()
    verdict = OUTCOMES[ended.outcome]
    words = f"{verdict[:1].upper()}{verdict[1:]}: {ended.reason}."
    out.print(words, style=style, markup=False, highlight=False, soft_wrap=True)
    lines = [
        f"{counts['pass']} passed, {counts['fail']} failed, {counts['not done']} not done",
        f"Believed from now on: {calibration}" if calibration else "",
        f"Record: {path}",
    ]
    for line in filter(None, lines):
        out.print(line, markup=False, highlight=False, soft_wrap=True)
