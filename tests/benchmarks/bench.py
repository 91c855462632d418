"""`make bench SEED=…`: what the controller reaches on the virtual machine, as one table.

    python -m tests.benchmarks.bench --seed 7 [--runs 10] [--jobs 2] [--quick]

Seeds of all cases are drawn from SEED. A row says what must be reached, what was measured, and which seeds did worst.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from time import monotonic

import numpy as np
from rich.console import Console
from rich.table import Table

from tests.benchmarks.score import Case, Score, run_case, touch_errors_um

# Width of the table in characters: chosen so that no row is broken.
WIDTH = 150
# Cases besides the diffuser runs: (cases, holes each). Chosen so that a share of 1 % or a rescue in 20 holes shows, in
# a time that is small beside that of the diffuser runs. Quick figures are for development only.
FULL = {"baseline": (2, 60), "front": (1, 40), "wet": (40, 0), "diffuser": (0, 0)}
QUICK = {"baseline": (1, 20), "front": (1, 6), "wet": (4, 0), "diffuser": (0, 12)}


@dataclass(slots=True, frozen=True)
class Row:
    """One row: what, what must be, what was measured, whether that reaches it, and the worst seeds."""

    what: str
    must: str
    measured: str
    reached: bool
    worst: str = ""


def cases(seed: int, runs: int, *, quick: bool) -> list[Case]:
    """All cases of a benchmark, the longest first."""
    draws = np.random.default_rng(seed)
    plan = QUICK if quick else FULL

    def seeds(count: int) -> list[int]:
        return [int(draw) for draw in draws.integers(0, 2**31, count)]

    found = [Case("diffuser", each, holes=plan["diffuser"][1]) for each in seeds(runs)]
    found += [Case("baseline", each, holes=plan["baseline"][1]) for each in seeds(plan["baseline"][0])]
    for each in seeds(plan["front"][0]):
        found += [Case("front", each, "biased", plan["front"][1]), Case("front", each, "divider", plan["front"][1])]
    return found + [Case("wet", each) for each in seeds(plan["wet"][0])]


def run_all(todo: Sequence[Case], jobs: int, screen: Console) -> list[Score]:
    """Run the cases side by side, telling each that is done; scores come in the order of the cases."""
    began_s, done = monotonic(), {}
    with ProcessPoolExecutor(jobs) as pool:
        running = {pool.submit(run_case, case): case for case in todo}
        for ready in as_completed(running):
            case, score = running[ready], ready.result()
            done[case] = score
            took = f"{monotonic() - began_s:.0f} s: {len(done)} of {len(todo)} cases"
            screen.print(f"{took}; {_told(score)}", markup=False, highlight=False, soft_wrap=True)
    return [done[case] for case in todo]


def _told(score: Score) -> str:
    case = score.case
    came = f"{score.outcome}, {score.finished} of {score.holes} holes. {score.reason}"
    return f"{case.kind} {case.front_end} seed {case.seed}: {came}"


def rows(scores: Sequence[Score]) -> Iterator[Row]:
    """What the main job must reach, row by row."""
    runs = _of(scores, "diffuser")
    yield from _baseline_rows(_of(scores, "baseline"))
    yield _complete_row(runs)
    yield _share_row("true exit at least full diameter − 0.03 mm", runs, lambda s: s.full_size, lambda s: s.holes, 0.99)
    yield _share_row(
        "after `gauge`: within ± 0.05 mm of the job's size", runs, lambda s: s.at_size, lambda s: s.holes, 0.99
    )
    yield _coverage_row("tip length inside ± 2 u", runs, lambda s: s.tips_inside, lambda s: s.tips)
    yield _coverage_row("exit diameter inside ± 2 u", runs, lambda s: s.exits_inside, lambda s: s.exits)
    yield _budget_row("machine time inside the budget", runs, lambda s: s.time_in_budget)
    yield _budget_row("electrode inside the budget", runs, lambda s: s.electrode_in_budget)
    yield from _breakthrough_rows(runs)
    yield _measuring_row(runs)
    yield _gap_row("clamp", runs, 0.95)
    yield _gap_row("biased", [s for s in _of(scores, "front") if s.case.front_end == "biased"], 0.99)
    yield _gap_row("divider", [s for s in _of(scores, "front") if s.case.front_end == "divider"], 0.99)
    yield _wet_row(_of(scores, "wet"))


def _of(scores: Sequence[Score], kind: str) -> list[Score]:
    return [score for score in scores if score.case.kind == kind]


def _baseline_rows(scores: Sequence[Score]) -> Iterator[Row]:
    holes = sum(score.finished for score in scores)
    undersized = holes - sum(score.full_size for score in scores)
    shorts, rescues = sum(score.shorts for score in scores), sum(score.rescues for score in scores)
    share = undersized / holes if holes else 0.0
    yield Row("baseline: exits undersized", "≥ 50 %", f"{share:.1%} of {holes}", share >= 0.5)
    yield Row("baseline: shorts", "≥ 1 per 3 holes", f"{shorts} in {holes} holes", 3 * shorts >= holes > 0)
    yield Row("baseline: rescues", "≥ 1 per 20 holes", f"{rescues} in {holes} holes", 20 * rescues >= holes > 0)


def _complete_row(runs: Sequence[Score]) -> Row:
    bad = [run for run in runs if run.outcome != "complete" or run.rescues]
    worst = "; ".join(f"{run.case.seed} ({run.outcome}, {run.rescues} rescues)" for run in bad[:3])
    good = len(runs) - len(bad)
    return Row(
        "complete, operator only for advances", f"{len(runs)}/{len(runs)}", f"{good}/{len(runs)}", not bad, worst
    )


def _share_row(
    what: str, runs: Sequence[Score], good: Callable[[Score], int], of: Callable[[Score], int], least: float
) -> Row:
    """A share over all holes of all runs; a hole that was never finished counts as bad."""
    share = _share(runs, good, of)
    return Row(
        what, f"≥ {least:.0%}", f"{share:.2%}", share >= least, _worst(runs, lambda run: _share([run], good, of))
    )


def _coverage_row(what: str, runs: Sequence[Score], good: Callable[[Score], int], of: Callable[[Score], int]) -> Row:
    share = _share(runs, good, of)
    return Row(
        what, "90–99 %", f"{share:.2%}", 0.90 <= share <= 0.99, _worst(runs, lambda run: _share([run], good, of))
    )


def _budget_row(what: str, runs: Sequence[Score], good: Callable[[Score], bool]) -> Row:
    bad = [run for run in runs if not good(run)]
    count = len(runs) - len(bad)
    worst = "; ".join(str(run.case.seed) for run in bad[:3])
    return Row(what, "≥ 8/10 runs", f"{count}/{len(runs)}", 10 * count >= 8 * len(runs), worst)


def _breakthrough_rows(runs: Sequence[Score]) -> Iterator[Row]:
    blind, unnoticed = sum(run.blind_called_done for run in runs), sum(run.through_unnoticed for run in runs)
    through = sum(run.through for run in runs)
    share = unnoticed / through if through else 0.0
    worst = "; ".join(str(run.case.seed) for run in runs if run.blind_called_done)
    yield Row("blind hole called done", "0", f"{blind}", blind == 0, worst)
    worst = "; ".join(str(run.case.seed) for run in runs if run.through_unnoticed)
    yield Row("through hole not noticed", "≤ 0.1 %", f"{share:.2%} ({unnoticed} of {through})", share <= 0.001, worst)


def _measuring_row(runs: Sequence[Score]) -> Row:
    share = sum(run.measuring_s for run in runs) / max(sum(run.machine_s for run in runs), 1e-9)
    worst = _worst(runs, lambda run: -run.measuring_s / max(run.machine_s, 1e-9))
    return Row("share of machine time measuring", "≤ 8 %", f"{share:.1%}", share <= 0.08, worst.replace("-", ""))


def _gap_row(front_end: str, runs: Sequence[Score], least: float) -> Row:
    share = _agreeing(runs)
    worst = _worst(runs, lambda run: _agreeing([run]))
    return Row(f"gap state by duration, {front_end}", f"≥ {least:.0%}", f"{share:.2%}", share >= least, worst)


def _agreeing(runs: Sequence[Score]) -> float:
    pairs = [(pair, seconds) for run in runs for pair, seconds in run.gap_s.items()]
    whole = sum(seconds for _, seconds in pairs)
    return sum(seconds for (taken, was), seconds in pairs if taken == was) / whole if whole else 0.0


def _wet_row(scores: Sequence[Score]) -> Row:
    errors = touch_errors_um(scores)
    share = sum(error <= 20.0 for error in errors) / len(errors) if errors else 0.0
    largest = max(errors, default=0.0)
    worst = _worst(scores, lambda score: -max(touch_errors_um([score]), default=0.0))
    told = f"{share:.1%} of {len(errors)}, largest {largest:.0f} µm"
    return Row("touch on a wet plate within 20 µm", "≥ 99 %", told, share >= 0.99, worst.replace("-", ""))


def _share(runs: Sequence[Score], good: Callable[[Score], int], of: Callable[[Score], int]) -> float:
    whole = sum(of(run) for run in runs)
    return sum(good(run) for run in runs) / whole if whole else 0.0


def _worst(runs: Sequence[Score], rating: Callable[[Score], float], count: int = 2) -> str:
    """The seeds with the lowest rating, with it."""
    ranked = sorted(runs, key=rating)[:count]
    return "; ".join(f"{run.case.seed} ({rating(run):.4g})" for run in ranked)


def confusion(scores: Sequence[Score]) -> Table:
    """How the gap state was taken against what it was, in percent of the time with the source on."""
    states = ("open", "sparking", "shorted", "off")
    whole = sum(sum(score.gap_s.values()) for score in scores) or 1.0
    table = Table("taken for \\ was", *states, title="gap state, % of live time (clamp)")
    for taken in states:
        sums = [sum(score.gap_s[taken, was] for score in scores) for was in states]
        table.add_row(taken, *(f"{100 * seconds / whole:.2f}" for seconds in sums))
    return table


def main() -> None:
    """Run the benchmark and print its table; exit code 1 when a row is not reached."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--runs", type=int, default=10)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--quick", action="store_true", help="few holes: for development, the table means little")
    asked = parser.parse_args()
    scores = run_all(cases(asked.seed, asked.runs, quick=asked.quick), asked.jobs, Console(stderr=True))
    title = f"Reach, seeds drawn from {asked.seed}{' (quick: few holes)' if asked.quick else ''}"
    table = Table("what", "must", "measured", "", "worst seeds", title=title)
    found = list(rows(scores))
    for row in found:
        table.add_row(row.what, row.must, row.measured, "yes" if row.reached else "NO", row.worst)
    screen = Console(width=WIDTH)
    screen.print(table)
    screen.print(confusion(_of(scores, "diffuser")))
    raise SystemExit(not all(row.reached for row in found))


if __name__ == "__main__":
    main()
