"""Does a run end inside the time that `plan` states, and how much narrower is the range after `learn`?

The first holes of the diffuser are rehearsed with other seeds on the default plant and on drawn plants; each drawn
plant comes with a technology guessed wrong as `draw` has it. Then, on every plant, the figures of one run are learned
and another run, with another seed, is held against the range that they give, which should be half as wide in seconds.
Beside that it is told how wide it is over its middle: on a plant twice as slow as guessed everything takes longer.

Run: python -m tests.benchmarks.budget --seed 1 --plants 12 --holes 60
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import fmean

from controller.core.controller import Controller
from controller.plan.budget import budget
from controller.plan.build import build_plan
from controller.plan.overcut import learn_overcut
from controller.plan.plan import Plan
from controller.plan.ranges import Range
from controller.record.journal import Journal, StartRecord, read_journal
from controller.record.lessons import LessonError, learn_from
from controller.settings.find import packaged_configs, resolve
from controller.settings.job import Job
from controller.settings.load import load_job, load_machine, load_technology
from controller.settings.machine import Machine
from controller.settings.technology import Technology
from controller.settings.text import settings_text
from sim.rehearsal import Rehearsal
from sim.settings import PlantSettings, load_plant
from tests.benchmarks.draw import draw

LONGEST_S = 6 * 3600.0
# What must be: the share of runs inside the stated range, and how wide it is after learning.
INSIDE, NARROWER = 0.9, 0.5


@dataclass(slots=True, frozen=True)
class Case:
    """A plant, what is guessed of it, and the seed of its chance."""

    name: str
    plant: PlantSettings
    technology: Technology
    seed: int


@dataclass(slots=True, frozen=True)
class Found:
    """Whether the two runs were inside, how wide the second range is over the first, and what to say of it."""

    name: str
    inside: bool
    inside_taught: bool
    narrower: float
    narrower_over_middle: float
    words: str


def run(
    folder: Path, job: Job, machine: Machine, technology: Technology, plan: Plan, plant: PlantSettings, seed: int
) -> tuple[float, str]:
    """One rehearsal with its journal in `folder`: machine seconds and outcome."""
    overcut = learn_overcut(technology.overcut_mm, ())
    folder.mkdir()
    start = StartRecord(
        job=job.job.name,
        machine=machine.name,
        technology=technology.pair.name,
        job_toml=resolve("diffuser", kind="jobs").read_text(encoding="utf-8"),
        machine_toml=settings_text(machine),
        technology_toml=settings_text(technology),
        thickness_mm=job.work.thickness_mm,
        rod_mm=job.electrode.diameter_mm,
        diameter_mm=job.holes.diameter_mm,
        tolerance_mm=job.holes.tolerance_mm,
        overcut_mm=overcut.mean_mm,
        overcut_u_mm=overcut.u_mm,
        overcut_scatter_mm=overcut.scatter_mm,
        overcut_n=0,
        overcut_from="guess",
        rehearsed=True,
        seed=seed,
        versions={},
        started_utc="2026-01-01T00:00:00Z",
    )
    journal = Journal(folder, start, [])
    core = Controller(machine, job, technology, plan, overcut)
    rehearsal = Rehearsal(core, machine, job, plan, plant, seed, journal)
    while rehearsal.time_s < LONGEST_S and rehearsal.step(20_000):
        pass
    journal.commit()
    return rehearsal.time_s, rehearsal.ended.outcome if rehearsal.ended else "stuck"


def stated(job: Job, machine: Machine, technology: Technology, plan: Plan) -> Range:
    """The machine time that the plan states."""
    return budget(job, machine, technology, plan, learn_overcut(technology.overcut_mm, ())).machine_seconds


def held_against(case: Case, holes: int) -> Found:
    """Two runs on one plant, the second with what the first taught."""
    machine, job = load_machine(resolve("virtual", kind="machines")), load_job(resolve("diffuser", kind="jobs"))
    plan = build_plan(job, machine)
    plan = replace(plan, holes=plan.holes[:holes])
    with tempfile.TemporaryDirectory() as folder:
        before = stated(job, machine, case.technology, plan)
        first = Path(folder) / "first"
        took_s, outcome = run(first, job, machine, case.technology, plan, case.plant, case.seed)
        inside = _holds(before, took_s)
        words = f"{outcome}, {took_s:.0f} s of {before.low:.0f} to {before.high:.0f}"
        try:
            taught = learn_from([read_journal(first)]).taught()
        except LessonError as nothing:
            return Found(case.name, inside, False, 1.0, 1.0, f"{words}; {nothing}")
        after = stated(job, machine, taught, plan)
        again_s, _ = run(Path(folder) / "second", job, machine, taught, plan, case.plant, case.seed + 1000)
    words += f"; then {again_s:.0f} s of {after.low:.0f} to {after.high:.0f}"
    narrower = (after.high - after.low) / (before.high - before.low)
    over_middle = narrower * before.expected / after.expected
    return Found(case.name, inside, _holds(after, again_s), narrower, over_middle, words)


def _holds(stated_s: Range, took_s: float) -> bool:
    return stated_s.low <= took_s <= stated_s.high


def main() -> None:
    """Run all cases on all cores and print what they came to; exit code 1 when something is not reached."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plants", type=int, default=12)
    parser.add_argument("--holes", type=int, default=60)
    asked = parser.parse_args()
    shipped = load_technology(packaged_configs() / "technology" / "tungsten-on-stainless.toml")
    cases = [Case("default plant", load_plant(), shipped, asked.seed + number) for number in range(asked.plants)]
    for number in range(asked.plants):
        drawn = draw(asked.seed, number, shipped)
        cases.append(Case("drawn plants", drawn.plant, drawn.technology, drawn.seed))
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(held_against, cases, [asked.holes] * len(cases)))
    for place, each in enumerate(found):
        if not (each.inside and each.inside_taught):
            print(f"{each.name} {place}: {each.words}")
    reached = True
    for name in ("default plant", "drawn plants"):
        rows = [each for each in found if each.name == name]
        n, inside, taught = len(rows), sum(each.inside for each in rows), sum(each.inside_taught for each in rows)
        narrower = fmean(each.narrower for each in rows)
        over_middle = fmean(each.narrower_over_middle for each in rows)
        print(
            f"{name}: {inside} of {n} inside the range (must {INSIDE:.0%}); after learning {taught} of {n}, "
            f"and the range is {narrower:.2f} times as wide (must {NARROWER:g}), over its middle {over_middle:.2f}"
        )
        reached &= inside >= INSIDE * n and narrower <= NARROWER
    sys.exit(not reached)


if __name__ == "__main__":
    main()
