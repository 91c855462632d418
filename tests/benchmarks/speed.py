"""`make bench-speed SEED=…`: machine seconds a wall second of whole rehearsals, and their peak memory.

    python -m tests.benchmarks.speed --seed 7 [--long 5000] [--python PATH]…

Rehearses `endurance` and a job of LONG holes of the same kind, each as a process of its own, start of the interpreter
and report included, as a user would: `gapwright rehearse`. Does so with every interpreter given, so that a compiled
build in another environment is measured beside the plain one; what runs is asked of each, out of the way of this
checkout. Peak memory is what the system saw of the child. Beside the wall clock stands the processor's, for machines
that do other things too.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from time import monotonic

from rich.console import Console
from rich.table import Table

from controller.settings.find import packaged_configs

# What must be and what is aimed at: machine seconds a wall second, plain and compiled, and peak memory (MB).
SPEED = {"plain": (500, 1500), "compiled": (3000, 8000)}
MEMORY_MB = (150, 100)
# Pitch of the long job (mm): chosen so that 5000 holes of 1.28 mm leave half a millimetre between them and lie within
# the travel of the virtual machine.
LONG_PITCH_MM, LONG_COLUMNS = 1.75, 100
# Asks an interpreter how the code that costs the time is built.
ASK = """
import platform, sim.erosion
print("plain" if sim.erosion.__file__.endswith(".py") else "compiled", platform.python_version())
"""
# Linux gives peak memory in KiB, macOS in bytes (getrusage).
MB_PER_UNIT = 1e-6 if sys.platform == "darwin" else 1024e-6


@dataclass(slots=True, frozen=True)
class Run:
    """One rehearsal: machine, wall and processor time (s), peak memory (MB)."""

    build: str
    job: str
    holes: int
    outcome: str
    machine_s: float
    wall_s: float
    cpu_s: float
    peak_mb: float

    @property
    def speed(self) -> float:
        """Machine seconds a wall second."""
        return self.machine_s / self.wall_s


def rehearse(python: str, job: str, seed: int, folder: Path) -> Run:
    """Rehearse a job in a child and take its measure. Raises RuntimeError when it gives no summary."""
    # From another folder: the checkout's own source would come first on the path here.
    asked = subprocess.run([python, "-c", ASK], check=True, capture_output=True, text=True, cwd=folder)
    build = asked.stdout.strip()
    out = folder / f"{Path(job).stem}-{build.replace(' ', '-')}"
    command = [python, "-m", "controller.cli", "rehearse", job, "--seed", str(seed), "--out", str(out), "--json"]
    began_s = monotonic()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=folder)
    _, status, used = os.wait4(child.pid, 0)
    wall_s = monotonic() - began_s
    child.returncode = os.waitstatus_to_exitcode(status)
    if not (out / "summary.json").exists():
        raise RuntimeError(f"{' '.join(command)} left no summary; exit code {child.returncode}")
    told = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    return Run(
        build,
        told["job"],
        told["holes_total"],
        told["outcome"],
        told["machine_seconds"],
        wall_s,
        used.ru_utime + used.ru_stime,
        _peak_mb(used),
    )


def _peak_mb(used: resource.struct_rusage) -> float:
    return used.ru_maxrss * MB_PER_UNIT


def long_job(holes: int, folder: Path) -> Path:
    """Endurance with so many holes, closer together."""
    text = (packaged_configs() / "jobs" / "endurance.toml").read_text(encoding="utf-8")
    head = text[: text.index("[[holes.pattern]]")].replace('name = "endurance"', f'name = "endurance-{holes}"')
    rows, rest = divmod(holes, LONG_COLUMNS)
    full = _pattern(2.5, min(LONG_COLUMNS, holes), rows) if rows else ""
    place = folder / f"endurance-{holes}.toml"
    last = _pattern(2.5 + rows * LONG_PITCH_MM, rest, 1) if rest else ""
    place.write_text(head + full + last, encoding="utf-8")
    return place


def _pattern(y_mm: float, columns: int, rows: int) -> str:
    return (
        f'[[holes.pattern]]\nkind = "rectangular"\norigin_mm = [2.5, {y_mm}]\n'
        f"columns = {columns}\nrows = {rows}\npitch_mm = {LONG_PITCH_MM}\n\n"
    )


def show(runs: list[Run], screen: Console) -> bool:
    """Print the runs and what they reach; True when all is reached that must be."""
    table = Table("build", "job", "holes", "outcome", "machine s", "wall s", "÷ wall", "÷ processor", "peak MB")
    for run in runs:
        times = (f"{run.machine_s:.0f}", f"{run.wall_s:.1f}", f"{run.speed:.0f}", f"{run.machine_s / run.cpu_s:.0f}")
        table.add_row(run.build, run.job, str(run.holes), run.outcome, *times, f"{run.peak_mb:.0f}")
    screen.print(table)
    reached = True
    for run in runs:
        must, aim = SPEED[run.build.split()[0]]
        if run.job == "endurance":
            reached &= run.speed >= must
            screen.print(f"{run.build}: {run.speed:.0f} machine s a wall s; must ≥ {must}, aim ≥ {aim}")
    largest = max(run.peak_mb for run in runs)
    screen.print(f"peak memory {largest:.0f} MB; must ≤ {MEMORY_MB[0]}, aim ≤ {MEMORY_MB[1]}")
    return reached and largest <= MEMORY_MB[0]


def main() -> None:
    """Rehearse and print; exit code 1 when something is not reached."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--long", type=int, default=5000, help="holes of the long job; 0 for none")
    parser.add_argument("--python", action="append", default=[], help="interpreter; may be given again")
    asked = parser.parse_args()
    screen = Console(width=110)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        jobs = ["endurance.toml", *([str(long_job(asked.long, folder))] if asked.long else [])]
        # Not resolved: the link in an environment is what makes it that environment's interpreter.
        pythons = [str(Path(python).absolute()) for python in asked.python or [sys.executable]]
        runs = [rehearse(python, job, asked.seed, folder) for python in pythons for job in jobs]
    raise SystemExit(not show(runs, screen))


if __name__ == "__main__":
    main()
