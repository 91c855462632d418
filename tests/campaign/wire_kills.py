"""Hosts killed over the wires, in real time: `simulate` lives on, `run` is killed with SIGKILL, `resume` goes on.

    python -m tests.campaign.wire_kills --kills 30 --seed 1 [--at-once 5]

Several virtual machines side by side, each a process of its own behind its ports; the host is a process too, killed
after a random time, again and again until the job is done, then the next job on a new machine, until there were so many
kills. Every hole must be told exactly once, be open in truth, and the record must be whole.
"""

from __future__ import annotations

import argparse
import csv
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from random import Random

from controller.record.journal import JOURNAL_NAME, JournalError, read_journal
from tests.campaign.drill import SMALL_JOB, small_job
from tests.campaign.kills import Killed, judge

COMMAND = (sys.executable, "-m", "controller.cli")
# Between two kills, on average (s). Chosen: a host needs a minute to reference, measure and feel before it drills on.
BETWEEN_S = 75.0
# A life that takes longer hangs (s): twice what the whole job takes.
LIFE_S = 900.0
READY_S = 20.0


def killed_again_and_again(convention: str, seed: int, most: int, folder: Path) -> Killed:
    """One job on one machine, its host killed up to `most` times."""
    chance, done = Random(seed), Killed()
    machine, truth, run = folder / "machine.toml", folder / "truth.csv", folder / "run"
    what = ["--machine", f"{convention}.toml", "--job", str(SMALL_JOB), "--seed", str(seed)]
    written = ["--write-machine", str(machine), "--truth", str(truth)]
    plant = subprocess.Popen(
        [*COMMAND, "simulate", *what, *written],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_for(machine)
        while True:
            # One each: what is left of a killed one may still write for a moment.
            log = folder / f"life-{done.kills}.log"
            life = _life(machine, run, log)
            lives_s = chance.expovariate(1.0 / BETWEEN_S) if done.kills < most else LIFE_S
            try:
                code = life.wait(lives_s)
            except subprocess.TimeoutExpired:
                life.send_signal(signal.SIGKILL)
                life.wait()
                _wait_for_the_rest(life.pid)
                done.kills += 1
                if lives_s == LIFE_S:
                    done.problems.append("hangs")
                    break
                continue
            if code:
                done.problems.append(f"a life ended with {code}: {log.read_text('utf-8')[-600:]}")
            break
    finally:
        plant.send_signal(signal.SIGINT)
        plant.wait(30.0)
    _judge(done, run, truth)
    return done


def _life(machine: Path, run: Path, log: Path) -> subprocess.Popen[bytes]:
    """A host that begins the run, or goes on with it."""
    begun = _begun(run)
    what = ["resume", str(run)] if begun else ["run", str(SMALL_JOB), "--machine", str(machine), "--out", str(run)]
    with log.open("wb") as told:
        return subprocess.Popen(
            [*COMMAND, *what, "--headless", "--yes"],
            stdin=subprocess.DEVNULL,
            stdout=told,
            stderr=told,
            start_new_session=True,
        )


def _wait_for_the_rest(group: int) -> None:
    """What a killed host leaves behind, its clerk, puts the folder in order and ends by itself."""
    until_s = time.monotonic() + READY_S
    while left := _alive(group):
        if time.monotonic() > until_s:
            raise RuntimeError(f"left {READY_S:.0f} s after their host was killed: {left}")
        time.sleep(0.05)


def _alive(group: int) -> list[str]:
    """The processes of a group that are more than an entry which nobody has asked for yet (Linux)."""
    alive = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            state, _, of_group = stat.read_text(encoding="utf-8").rpartition(")")[2].split()[:3]
            if int(of_group) == group and state != "Z":
                alive.append(stat.with_name("cmdline").read_text(encoding="utf-8").replace("\0", " "))
    return alive


def _begun(run: Path) -> bool:
    """Whether there is a record to go on with; a folder in which nothing was recorded yet is cleared away."""
    try:
        read_journal(run)
    except JournalError as error:
        if (run / JOURNAL_NAME).exists():
            raise RuntimeError(f"a journal is there and can't be looked at: {error}") from error
        for left in run.glob("*"):
            left.unlink()
        return False
    return True


def _wait_for(machine: Path) -> None:
    until_s = time.monotonic() + READY_S
    while not machine.exists():
        if time.monotonic() > until_s:
            raise RuntimeError("simulate wrote no machine file")
        time.sleep(0.1)


def _judge(done: Killed, run: Path, truth: Path) -> None:
    record = read_journal(run)
    if record.events:
        judge(done, list(record.events), small_job())
        done.machine_s = record.events[-1].time_s
    with truth.open(encoding="utf-8") as table:
        shut = [row["hole"] for row in csv.DictReader(table) if row["through"] != "true"]
    if shut:
        done.problems.append(f"not open in truth: {shut}")


def _until_killed(convention: str, seed: int, kills: int, folder: Path) -> list[Killed]:
    """Jobs one after the other, each on a machine of its own, until their hosts were killed so many times in all."""
    jobs: list[Killed] = []
    while (left := kills - sum(job.kills for job in jobs)) > 0:
        place = folder / str(len(jobs))
        place.mkdir(parents=True)
        jobs.append(killed_again_and_again(convention, seed + len(jobs), left, place))
    return jobs


def main() -> None:
    """Kill until there were enough kills; print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-once", type=int, default=5)
    asked = parser.parse_args()
    each = -(-asked.kills // asked.at_once)
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as scratch, ThreadPoolExecutor(asked.at_once) as pool:
        jobs = []
        for number in range(asked.at_once):
            convention, folder = ("status", "ack")[number % 2], Path(scratch) / str(number)
            jobs.append(pool.submit(_until_killed, convention, asked.seed * 1000 + number * 100, each, folder))
        done = [one for job in jobs for one in job.result()]
    for number, one in enumerate(done):
        print(f"job {number}: {one.kills} kills, {one.machine_s:.0f} s of machine time. {'; '.join(one.problems)}")
    bad = sum(bool(one.problems) for one in done)
    took_s = time.monotonic() - began_s
    print(f"{sum(one.kills for one in done)} kills over the wires, {took_s:.0f} s: {bad} jobs with a problem")
    raise SystemExit(1 if bad else 0)


if __name__ == "__main__":
    main()
