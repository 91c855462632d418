"""Does a run end inside the time that `plan` states, and how much narrower is the range after `learn`?

A small job (the coupon) is rehearsed with other seeds on the default plant and on drawn plants; each drawn plant comes
with a technology guessed wrong as `draw` has it. Then, on every plant, the figures of one run are learned and another
run, with another seed, is held against the range that they give.

Run: python -m tests.benchmarks.budget --seed 1 --plants 12
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from controller.core.controller import Controller
from controller.plan.budget import budget
from controller.plan.build import build_plan
from controller.plan.overcut import learn_overcut
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


def run(
    folder: Path, job: Job, machine: Machine, technology: Technology, plant: PlantSettings, seed: int
) -> tuple[float, str]:
    """One rehearsal with its journal in `folder`: machine seconds and outcome."""
    plan = build_plan(job, machine)
    overcut = learn_overcut(technology.overcut_mm, ())
    folder.mkdir()
    start = StartRecord(
        job=job.job.name,
        machine=machine.name,
        technology=technology.pair.name,
        job_toml=resolve("coupon", kind="jobs").read_text(encoding="utf-8"),
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


def stated(job: Job, machine: Machine, technology: Technology) -> Range:
    plan = build_plan(job, machine)
    return budget(job, machine, technology, plan, learn_overcut(technology.overcut_mm, ())).machine_seconds


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plants", type=int, default=12)
    asked = parser.parse_args()
    machine, job = load_machine(resolve("virtual", kind="machines")), load_job(resolve("coupon", kind="jobs"))
    shipped = load_technology(packaged_configs() / "technology" / "tungsten-on-stainless.toml")
    cases = [("default plant", load_plant(), shipped, asked.seed + number) for number in range(asked.plants)]
    for number in range(asked.plants):
        drawn = draw(asked.seed, number, shipped)
        cases.append(("drawn plants", drawn.plant, drawn.technology, drawn.seed))
    tally: dict[str, list[tuple[bool, bool, float]]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for place, (name, plant, technology, seed) in enumerate(cases):
            before = stated(job, machine, technology)
            first = Path(folder) / f"{place}a"
            took_s, outcome = run(first, job, machine, technology, plant, seed)
            inside = before.low <= took_s <= before.high
            try:
                taught = learn_from([read_journal(first)]).taught()
            except LessonError as nothing:
                print(f"{name} {place}: {outcome}, {took_s:.0f} s of {before.low:.0f} to {before.high:.0f}; {nothing}")
                continue
            after = stated(job, machine, taught)
            again_s, _ = run(Path(folder) / f"{place}b", job, machine, taught, plant, seed + 1000)
            narrower = (after.high - after.low) / (before.high - before.low)
            good = after.low <= again_s <= after.high
            tally.setdefault(name, []).append((inside, good, narrower))
            if not inside or not good:
                print(
                    f"{name} {place}: {outcome}, {took_s:.0f} s of {before.low:.0f} to {before.high:.0f}; then "
                    f"{again_s:.0f} s of {after.low:.0f} to {after.high:.0f}"
                )
    for name, rows in tally.items():
        n = len(rows)
        print(
            f"{name}: {sum(a for a, _, _ in rows)} of {n} inside the range; after learning "
            f"{sum(b for _, b, _ in rows)} of {n}, and the range is {sum(c for _, _, c in rows) / n:.2f} times as wide"
        )


if __name__ == "__main__":
    main()
