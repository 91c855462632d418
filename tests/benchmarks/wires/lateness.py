"""How late the loop of `gapwright run` comes at 200 Hz, beside a process that paints and one that keeps a core busy."""

from __future__ import annotations

import ctypes
import os
import re
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import sleep

from tests.benchmarks.wires.pair import Broken, host_end, machine_end

TICK_HZ = 200
# Capabilities of Linux (capability.h, from memory): to ask for a fixed priority, and to lock memory.
PR_CAPBSET_DROP, CAP_IPC_LOCK, CAP_SYS_NICE = 24, 14, 23
# A table painted over and over, as a terminal screen does.
PAINTS = """
import sys, time
from rich.console import Console
from rich.table import Table
console = Console(file=open("/dev/null", "w"), force_terminal=True, width=160)
while True:
    table = Table(*(f"column {n}" for n in range(8)))
    for row in range(40):
        table.add_row(*(f"{row * n * time.monotonic():.3f}" for n in range(8)))
    console.print(table)
    time.sleep(1 / 30)
"""
BUSY = "while True: pass"
LATE = re.compile(r"(\d+) ticks, late by ([\d.]+) / ([\d.]+) / ([\d.]+) ms .*?([\d.]+) ms at the most; (\d+) missed")


@dataclass(slots=True, frozen=True)
class Lateness:
    """What a run says of its own loop: ticks, lateness that 99 and 99.9 % of them did not exceed, the worst (ms)."""

    fixed_priority: bool
    ticks: int
    p99_ms: float
    p999_ms: float
    worst_ms: float
    missed: int
    refused: tuple[str, ...]


def late(folder: Path, wanted_s: float, *, fixed_priority: bool) -> Lateness:
    """Run for so long beside its neighbours, then interrupt it and read its record."""
    with (
        machine_end(folder, convention="status", tick_hz=TICK_HZ) as machine,
        neighbours(),
        host_end(machine.machine, folder / "run", before=None if fixed_priority else give_up_priority) as host,
    ):
        sleep(wanted_s)
        host.send_signal(signal.SIGINT)
        host.wait(120.0)
    return read(folder / "run" / "journal.sqlite", fixed_priority=fixed_priority)


def read(journal: Path, *, fixed_priority: bool) -> Lateness:
    """What the loop put on record about itself."""
    with sqlite3.connect(journal) as record:
        rows = [str(row) for row in record.execute("select kind, fields from event") if "loop" in str(row)]
    found = next((match for row in rows if (match := LATE.search(row))), None)
    if found is None:
        raise Broken(f"{journal}: nothing about the loop's lateness")
    ticks, _, p99, p999, worst, missed = found.groups()
    refused = tuple(row for row in rows if "not allowed" in row)
    return Lateness(fixed_priority, int(ticks), float(p99), float(p999), float(worst), int(missed), refused)


def give_up_priority() -> None:
    """Before the host starts: it shall be refused what a user without rights is refused, even as root."""
    libc = ctypes.CDLL(None, use_errno=True)
    for capability in (CAP_SYS_NICE, CAP_IPC_LOCK):
        if os.geteuid() == 0 and libc.prctl(PR_CAPBSET_DROP, capability, 0, 0, 0) != 0:
            raise OSError(ctypes.get_errno(), "can't give up a capability")


@contextmanager
def neighbours() -> Iterator[None]:
    """One process that paints and one that keeps a core busy, while the block runs."""
    started: list[subprocess.Popen[bytes]] = []
    try:
        started.extend(subprocess.Popen([sys.executable, "-c", what]) for what in (PAINTS, BUSY))
        yield
    finally:
        for process in started:
            process.kill()
            process.wait()
