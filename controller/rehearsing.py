"""A rehearsal into its journal, begun or taken up again: what `rehearse` and `resume` share."""

from __future__ import annotations

import gc
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic, sleep
from typing import Final

import typer

from controller.bus.picture import About
from controller.core.controller import Controller
from controller.core.events import RunEnded
from controller.core.standing import Standing
from controller.ending import EXIT
from controller.record.journal import GaugedHole, Journal, JournalError, StopRecord, append_gauged
from controller.record.run_folder import RunFolderError, complete_run_folder
from controller.record.summary import Summary
from controller.screen import HoleProgressBar, Interruption, err
from controller.watchable import Watched, watched
from controller.workshop import Assignment, controller_for
from sim.aside import PutAside
from sim.injector import Planned
from sim.operator import GAUGING_U_MM
from sim.rehearsal import Rehearsal
from sim.settings import PlantSettings

# Ticks between two looks at the keyboard and the progress bar: 20 s of machine time, some 30 ms of ours. Chosen so that
# looking costs nothing and Ctrl-C is heeded at once.
STEP_TICKS: Final = 2000
# Looks of a rehearsal at a chosen speed (s): ten a second, as the bus tells them.
LOOK_S: Final = 0.1
# The machine is put aside, with all events up to that moment, this often (s of wall time): 5 ms each. A rehearsal that
# is killed goes on from there. Chosen.
ASIDE_S: Final = 1.0
# How long the machine was left alone before it is taken up again (s of machine time): chosen.
ALONE_S: Final = 60.0


@dataclass(slots=True, frozen=True)
class Order:
    """One rehearsal to be made: what is given, what is told of it, the truth, the seed, who answers, the faults.

    `speed` is machine seconds for each second, 0 for as fast as it goes; a `patient` run waits for somebody's answer
    where nobody answers by himself. Taken up again, `before` says where it stands and `aside` is its machine.
    """

    given: Assignment
    about: About
    plant: PlantSettings
    seed: int
    operator: bool
    faults: tuple[Planned, ...] = ()
    speed: float = 0.0
    patient: bool = False
    before: Standing | None = None
    aside: PutAside | None = None


# Holes that were gauged by hand: numbers and diameters (mm).
Gauged = list[tuple[int, float]]


class Pace:
    """How fast a rehearsal goes.

    Args:
        speed: Machine seconds for each second; 0 for as fast as it goes.
        tick_hz: Ticks in a machine second.

    Attributes:
        ticks: From one look to the next.
    """

    def __init__(self, speed: float, tick_hz: int) -> None:
        self.ticks = max(round(speed * tick_hz * LOOK_S), 1) if speed else STEP_TICKS
        self._step_s = self.ticks / (speed * tick_hz) if speed else 0.0
        self._due_s = monotonic()

    def wait(self) -> None:
        """Wait until the next step is due; what came late is not made up for."""
        now_s = monotonic()
        self._due_s = max(self._due_s + self._step_s, now_s - LOOK_S)
        if self._due_s > now_s:
            sleep(self._due_s - now_s)


def rehearse_into(journal: Journal, order: Order, interrupted: Interruption, *, quiet: bool) -> tuple[Gauged, str]:
    """Run the rehearsal into its journal; returns a first article's gauged holes and the outcome.

    Nothing of the virtual machine is kept: the report of a long job needs the room.
    The journal is closed. A mistake of the program leaves it as far as it got; a disk that takes nothing ends the
    rehearsal, and is told.
    """
    began_s = monotonic()
    given = order.given
    stop: StopRecord | None = None
    gauged: Gauged = []
    try:
        core = controller_for(given, order.before)
        with (
            watched(journal, order.about) as sink,
            HoleProgressBar(len(given.plan.holes), given.job.job.name, quiet=quiet) as progress,
        ):
            rehearsal = Rehearsal(
                core,
                given.machine,
                given.job,
                given.plan,
                order.plant,
                order.seed,
                sink,
                operator=order.operator,
                faults=order.faults,
                aside=order.aside,
                patient=order.patient,
            )
            if order.aside is not None:
                rehearsal.virtual.left_alone(ALONE_S)
            # What is loaded by now stays: the collector need not look through it again and again during a long job.
            gc.freeze()
            pace = Pace(order.speed, given.machine.tick_hz)
            ended = _until_ended(rehearsal, core, journal, sink, progress, interrupted, pace)
        if ended.outcome != "complete":
            journal.commit(rehearsal.put_aside())
        stop = StopRecord(
            outcome=ended.outcome,
            reason=ended.reason,
            machine_s=rehearsal.time_s,
            wall_s=monotonic() - began_s,
            stopped_utc=stamp(datetime.now(UTC)),
        )
        outcome = ended.outcome
        if given.job.job.first_article:
            gauged = rehearsal.gauged_diameters_mm()
    except sqlite3.OperationalError as error:
        outcome = "fault"
        stop = None
        err.print(f"The record can't be written: {error}. What was told before is on the disk.", markup=False)
    finally:
        closed = _close(journal, stop)
    return gauged, outcome if closed else "fault"


def _close(journal: Journal, stop: StopRecord | None) -> bool:
    """Without a stop record the journal stays as the machine was put aside last. False when the disk took nothing."""
    if stop is None:
        journal.abandon()
        return True
    try:
        journal.close(stop)
    except sqlite3.OperationalError as error:
        err.print(f"The record could not be closed: {error}; make room, then `resume`.", markup=False)
        return False
    return True


def _until_ended(
    rehearsal: Rehearsal,
    core: Controller,
    journal: Journal,
    sink: Watched,
    progress: HoleProgressBar,
    interrupted: Interruption,
    pace: Pace,
) -> RunEnded:
    aside_s = monotonic()
    while rehearsal.ended is None:
        rehearsal.step(pace.ticks)
        pace.wait()
        if rehearsal.ended is None and monotonic() - aside_s > ASIDE_S:
            journal.commit(rehearsal.put_aside())
            aside_s = monotonic()
        seen = core.snapshot()
        progress.show(seen.holes_done, seen.doing, last=rehearsal.ended is not None)
        rehearsal.ask(sink.look(seen))
        if interrupted.asked:
            rehearsal.end("aborted", "interrupted by the user")
    return rehearsal.ended


def completed(folder: Path) -> Summary:
    """Tables, summary and report of a run. Exits as a fault does when the disk does not take them."""
    try:
        return complete_run_folder(folder)
    except (JournalError, RunFolderError) as error:
        err.print(str(error), markup=False, highlight=False, soft_wrap=True)
        raise typer.Exit(EXIT["fault"]) from error


def gauge_first_article(gauged: Gauged, given: Assignment, folder: Path, when_utc: str) -> None:
    """Enter the holes of a first article, as the virtual operator gauged them. Blind ones can't be."""
    rod_mm = given.job.electrode.diameter_mm
    append_gauged(
        folder,
        [GaugedHole(hole, diameter_mm, GAUGING_U_MM, rod_mm, when_utc) for hole, diameter_mm in gauged],
    )


def stamp(moment: datetime) -> str:
    """A time of day as it is kept."""
    return f"{moment:%Y-%m-%dT%H:%M:%SZ}"
