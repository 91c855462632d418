"""Killed at random moments and taken up again until the job is done: every hole exactly once, journal intact.

Two ways. `--sigkill` kills a real process with SIGKILL, again and again, with its journal on a real disk. The other
drops the host in the middle of a tick while the plant lives on, with whatever of its events had been committed: the
plant is then further than the record, as it is in a power cut of the host alone.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from controller.core.events import Event, HoleDoubted, HoleFinished, Noticed, RunEnded, TicksMissed
from controller.core.standing import standing
from controller.record.journal import Journal, JournalError, StopRecord, read_aside, read_journal
from controller.workshop import Assignment, controller_for, placed_holes, start_record
from sim.aside import PutAside, taken_up
from sim.monitor import PlantMonitor
from sim.notebook import Notebook
from sim.rehearsal import Rehearsal
from sim.settings import load_plant
from tests.campaign.drill import small_job

# The host's events reach the disk this much later at the most, and then in one go (s of machine time). Chosen: a slow
# disk of ten commits a second.
LAG_S = 0.1
ALONE_S = 30.0
LIVES_MOST = 200


@dataclass
class Killed:
    """What came of one job."""

    kills: int = 0
    problems: list[str] = field(default_factory=list)
    machine_s: float = 0.0


def judge(done: Killed, events: list[Event], given: Assignment) -> None:
    """Every hole exactly once, none lost; the end is the end of a whole job."""
    finished = Counter(event.hole for event in events if isinstance(event, HoleFinished))
    wanted = {hole.index for hole in given.plan.holes}
    if set(finished) != wanted:
        done.problems.append(f"holes lost: {wanted - set(finished)}")
    twice = {hole: count for hole, count in finished.items() if count > 1}
    if twice:
        done.problems.append(f"told twice: {twice}")
    wrong = [
        (event.hole, event.outcome)
        for event in events
        if isinstance(event, HoleFinished) and event.outcome != "through"
    ]
    if wrong:
        done.problems.append(f"not through: {wrong}")
    if any(isinstance(event, HoleDoubted) for event in events):
        done.problems.append("a hole was doubted")
    # The loop of a real run says at the very end how late it was.
    last = next((event for event in reversed(events) if not isinstance(event, Noticed | TicksMissed)), None)
    if not (isinstance(last, RunEnded) and last.outcome == "complete"):
        done.problems.append(f"ended {last}")


def judge_plant(done: Killed, rehearsal: Rehearsal, given: Assignment) -> None:
    """What the plant knows: every hole open, and nothing run into."""
    holes = rehearsal.virtual.truth.holes
    shut = [hole.index for hole in given.plan.holes if hole.index not in holes or not holes[hole.index].open]
    if shut:
        done.problems.append(f"not open in truth: {shut}")


def in_memory(given: Assignment, seed: int, between_s: float) -> Killed:
    """One job, the host dropped about every `between_s` of machine time."""
    chance, done, book = Random(seed), Killed(), Notebook()
    aside: PutAside | None = None
    monitor: PlantMonitor | None = None
    for _ in range(LIVES_MOST):
        before = standing(book.events) if aside is not None else None
        core = controller_for(given, before)
        rehearsal = Rehearsal(core, given.machine, given.job, given.plan, load_plant(None), seed, book, aside=aside)
        if aside is not None:
            rehearsal.virtual.left_alone(chance.uniform(0.3, ALONE_S))
        monitor = monitor or PlantMonitor(given.machine, rehearsal.injector)
        watching = monitor
        rehearsal.watch = lambda _core, plant, watching=watching: watching.watch(plant)
        ticks = round(chance.expovariate(1.0 / between_s) * given.machine.tick_hz) + 1
        if not rehearsal.step(ticks):
            break
        done.kills += 1
        lost_from_s = rehearsal.time_s - chance.uniform(0.0, LAG_S)
        book.events = [event for event in book.events if event.time_s <= lost_from_s]
        aside = PutAside(rehearsal.virtual, rehearsal.operator, rehearsal.injector)
    judge(done, book.events, given)
    judge_plant(done, rehearsal, given)
    done.problems += monitor.breaches if monitor else []
    done.machine_s = rehearsal.time_s
    return done


def by_signal(given: Assignment, seed: int, between_s: float, folder: Path) -> Killed:
    """One job into a journal on the disk, its process killed about every `between_s` that it has worked (Linux)."""
    chance, done = Random(seed), Killed()
    for life in range(LIVES_MOST):
        child = os.fork()
        if child == 0:
            _live(given, seed, folder, chance.randrange(2**31) + life)
        lives_s = chance.expovariate(1.0 / between_s) + 0.01
        ended = 0
        while not ended and _worked_s(child) < lives_s:
            ended, status = os.waitpid(child, os.WNOHANG)
            time.sleep(0.002)
        if ended:
            if status:
                done.problems.append(f"a life ended with {os.waitstatus_to_exitcode(status)}")
            break
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        done.kills += 1
        chance.random()
    record = read_journal(folder)
    judge(done, list(record.events), given)
    if record.stop is None:
        done.problems.append("no stop record")
    done.machine_s = record.events[-1].time_s if record.events else 0.0
    return done


def _worked_s(child: int) -> float:
    """How long a child has had a processor (s): on a busy computer the wall's clock says nothing of how far it got."""
    try:
        fields = Path(f"/proc/{child}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    except OSError:
        return 0.0  # it has ended
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _aside(folder: Path) -> bytes | None:
    try:
        return read_aside(folder)
    except JournalError:
        return None  # killed before anything was done


def _live(given: Assignment, seed: int, folder: Path, chance_seed: int) -> None:
    """A child's life: begin or go on, put the machine aside every few ticks, never return."""
    chance = Random(chance_seed)
    try:
        begun = _aside(folder) is not None
        if not begun:
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
        machine = taken_up(read_aside(folder) or b"") if begun else None
        before = standing(read_journal(folder).events) if begun else None
        start = start_record(given, "2020-01-01T00:00:00Z", seed=seed)
        journal = Journal.reopen(folder) if begun else Journal(folder, start, placed_holes(given))
        core = controller_for(given, before)
        rehearsal = Rehearsal(
            core, given.machine, given.job, given.plan, load_plant(None), seed, journal, aside=machine
        )
        if machine is not None:
            rehearsal.virtual.left_alone(1.0)
        while rehearsal.step(chance.randint(1, 600)):
            journal.commit(rehearsal.put_aside())
        journal.close(StopRecord(outcome="complete", reason="", machine_s=rehearsal.time_s, wall_s=0.0, stopped_utc=""))
    except BaseException as error:  # noqa: BLE001 - a child must never return into its parent's work
        sys.stderr.write(f"{error!r}\n")
        os._exit(1)
    os._exit(0)


def main() -> None:
    """Kill until there were enough kills; print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sigkill", action="store_true")
    parser.add_argument("--between", type=float, default=0.0, help="seconds between two kills, on average")
    asked = parser.parse_args()
    given, jobs, kills, bad = small_job(), 0, 0, 0
    began_s = time.monotonic()
    while kills < asked.kills:
        seed = asked.seed * 10_000 + jobs
        if asked.sigkill:
            with tempfile.TemporaryDirectory() as scratch:
                done = by_signal(given, seed, asked.between or 0.6, Path(scratch) / "run")
        else:
            done = in_memory(given, seed, asked.between or 60.0)
        jobs, kills = jobs + 1, kills + done.kills
        if done.problems:
            bad += 1
            print(f"seed {seed}: {done.kills} kills: {'; '.join(done.problems)}", flush=True)
    how = "SIGKILL" if asked.sigkill else "host dropped, plant living on"
    print(f"{kills} kills ({how}) in {jobs} jobs, {time.monotonic() - began_s:.0f} s: {bad} jobs with a problem")
    raise SystemExit(1 if bad else 0)


if __name__ == "__main__":
    main()
