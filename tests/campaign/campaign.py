"""Jobs with random faults at random moments, in parallel: what became of each, and was the true cause named?

`make campaign` runs it at full length. Prints fault by outcome, the confusion table of causes, reaction times, and
whatever should not have been: uncaught exceptions, breaches of the plant's monitor, machines left unsafe.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from random import Random
from time import monotonic

from controller.core.fault_table import of_fault
from sim.injector import names
from tests.campaign import wires
from tests.campaign.drill import Drill, drill, small_job
from tests.campaign.wires import WireTask, wire_drill

# Faults that only commissioning looks for, and those that befall this very process: they have drills of their own.
ELSEWHERE = frozenset({"disk-full", "host-killed", "host-terminated", "source-reversed"})
# A drill's job takes some 200 s; faults fall anywhere in it.
LATEST_S = 180.0
# Ticks that a reaction may take beyond its row's own time.
SLACK_S = 0.02
NOTHING = "(nothing)"


def drawn(runs: int, seed: int) -> list[tuple[str, int]]:
    """Specifications and seeds: every fault equally often, at moments drawn by time and by hole."""
    chance = Random(seed)
    faults = [name for name in names(rehearsed=True) if name not in ELSEWHERE]
    return [(_spec(chance, faults[run % len(faults)]), chance.randrange(2**31)) for run in range(runs)]


def _spec(chance: Random, name: str) -> str:
    if chance.random() < 0.4:
        return f"{name}@t:{chance.uniform(0.0, LATEST_S):.2f}s"
    return f"{name}@hole:{chance.randint(1, 3)}+{chance.uniform(0.0, 20.0):.2f}s"


def one(task: tuple[str, int]) -> Drill:
    """One run, mended and taken up again once if it has to be."""
    spec, seed = task
    return drill(small_job(), spec, seed, lives=2)


def is_right(done: Drill) -> bool:
    """Was the cause named that the table names; or did the run ride it out, where the table says that it may?"""
    row = of_fault(done.name)
    named = {cause.value for cause in row.causes}
    if done.injected_s is None:
        return done.outcome == "complete"  # it never came to that
    if named & set(done.told):
        return True
    return row.goes_on and done.outcome in {"complete", "held"} and not done.told


def misses(drills: Iterable[Drill]) -> list[Drill]:
    """Those whose cause was not named."""
    return [done for done in drills if not is_right(done)]


def amiss(drills: Iterable[Drill]) -> list[tuple[Drill, str]]:
    """What should not have been, whatever the cause."""
    found = []
    for done in drills:
        if done.uncaught:
            found.append((done, done.uncaught.strip().splitlines()[-1]))
        if done.outcome == "endless":
            found.append((done, done.reason))
        found += [(done, breach) for breach in done.breaches]
        if done.unsafe:
            found.append((done, done.unsafe))
    return found


def late(drills: Iterable[Drill], *, wired: bool = False) -> list[tuple[str, float, float]]:
    """Faults in a machine at work: name, reaction time and what the table allows (s)."""
    times = []
    for done in drills:
        row = of_fault(done.name)
        first = done.told[0] if done.told else ""
        timed = row.trip_s is not None and done.live and done.injected_s is not None and done.told_s is not None
        if timed and first == row.causes[0].value and row.trip_s is not None:
            allowed_s = row.trip_s + (row.wire_s if wired else 0.0)
            times.append((done.name, (done.told_s or 0.0) - (done.injected_s or 0.0), allowed_s))
    return times


def report(drills: Sequence[Drill], took_s: float, *, wired: bool = False) -> str:
    """The tables."""
    lines = [
        f"{len(drills)} runs in {took_s:.0f} s, {sum(done.seconds for done in drills) / 3600:.1f} h of machine time",
        "",
    ]
    outcomes: dict[str, Counter[str]] = defaultdict(Counter)
    causes: dict[str, Counter[str]] = defaultdict(Counter)
    for done in drills:
        outcomes[done.name][done.outcome if not done.uncaught else "exception"] += 1
        causes[done.name][done.told[0] if done.told else NOTHING] += 1
    lines.append(f"{'fault':22}{'outcome at last':34}told first (confusion)")
    lines += [f"{name:22}{_counts(outcomes[name]):34}{_counts(causes[name])}" for name in sorted(outcomes)]
    wrong, bad, times = misses(drills), amiss(drills), late(drills, wired=wired)
    share = 1.0 - len(wrong) / len(drills) if drills else 1.0
    over = sorted(time_s - allowed_s for _, time_s, allowed_s in times)
    lines += ["", f"right cause: {share:.2%} of {len(drills)}"]
    lines += [f"  not: {done.spec} seed {done.seed}: {done.outcome}, told {done.told} {done.reason}" for done in wrong]
    if over:
        p99 = over[min(int(0.99 * len(over)), len(over) - 1)]
        worst = max(times, key=lambda each: each[1] - each[2])
        lines.append(
            f"reaction beyond the table's time: p99 {p99:+.3f} s of {len(over)} (2 ticks are 0.02 s); worst {worst}"
        )
    lines.append(f"exceptions, breaches, unsafe or endless: {len(bad)}")
    lines += [f"  {done.spec} seed {done.seed}: {words}" for done, words in bad]
    return "\n".join(lines)


def _counts(counted: Counter[str]) -> str:
    return ", ".join(f"{count} {name}" for name, count in counted.most_common())


def run(tasks: Sequence[tuple[str, int]], wired: Sequence[WireTask], workers: int) -> tuple[list[Drill], list[Drill]]:
    """All of them, in order: those without wires, and those over them."""
    with ProcessPoolExecutor(workers) as pool:
        over_wires = pool.map(wire_drill, wired)
        return list(pool.map(one, tasks, chunksize=4)), list(over_wires)


def main() -> None:
    """Draw, run, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=950)
    parser.add_argument("--wires", type=int, default=50, help="more runs, over the wires")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    began_s = monotonic()
    drills, wired = run(drawn(asked.runs, asked.seed), wires.drawn(asked.wires, asked.seed), asked.workers)
    took_s = monotonic() - began_s
    print(report(drills, took_s))
    print("\nOver the wires:", report(wired, took_s, wired=True), sep="\n")
    everything = [*drills, *wired]
    raise SystemExit(1 if amiss(everything) or len(misses(everything)) > 0.02 * len(everything) else 0)


if __name__ == "__main__":
    main()
