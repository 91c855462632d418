"""`make bench-plants SEED=… PLANTS=…`: the controller on plants that it has not seen.

    python -m tests.benchmarks.plants --seed 7 [--plants 40] [--holes 0] [--only 3,8] [--jobs 2] [--keep DIR]

Plants are drawn from SEED (`tests/benchmarks/draw.py` says how); each drills the diffuser, or its first HOLES holes,
once. The table has the worst plant first and says what it cost and why; the totals are held against what must be
reached. Every plant and the technology the controller was told are kept as files, so that one can be rehearsed again by
itself.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field, replace
from pathlib import Path
from time import monotonic
from traceback import format_exception

from rich.console import Console
from rich.table import Table

from controller.commands_rehearse import plant_text
from controller.core.controller import Controller
from controller.core.events import ElectrodeMeasured, Event, HoleFinished, PromptRaised, ShortBegan, ShortEnded
from controller.plan.build import build_plan
from controller.plan.overcut import learn_overcut
from controller.settings.find import packaged_configs
from controller.settings.load import load_job, load_machine
from sim.notebook import Notebook
from sim.rehearsal import Rehearsal
from tests.benchmarks.draw import Drawn, draw
from tests.benchmarks.driven_on import LARGER_UM, DrivenOn
from tests.benchmarks.drop_outs import DropOutWatch, Loss
from tests.benchmarks.score import STEP_TICKS, TECHNOLOGY, Case, GapWatch, Score, score_electrode, score_holes
from tests.benchmarks.spy import Onlooker, Spied
from tests.benchmarks.unusual import unusual

# Width of the tables in characters: chosen so that a row stays one line but for its reasons.
WIDTH = 190
# A rehearsal that takes longer than this a hole is stuck (s of machine time): ten times a slow plant's. Chosen.
LONGEST_HOLE_S, LONGEST_REST_S = 1500.0, 5000.0
# The ladder's last rung is a person.
OPERATOR_RUNG = 5
# Of the Reach table: 39 of 40 without the operator.
MAY_FAIL = 40


@dataclass(slots=True)
class PlantScore:
    """What one plant cost."""

    drawn: Drawn
    score: Score
    loss: Loss = field(default_factory=Loss)
    rungs: Counter[int] = field(default_factory=Counter)
    answered: int = 0
    declared: int = 0
    drop_outs_taken: int = 0
    hole_s: float = 0.0
    asked: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    measurements: int = 0
    hot_openings: int = 0
    crashes: int = 0
    looked_at: int = 0
    ended_well: int = 0

    @property
    def good(self) -> bool:
        """Complete, and nobody was called."""
        return self.score.outcome == "complete" and self.score.rescues == 0

    @property
    def full_share(self) -> float:
        """Holes of full size, of all holes of the plan."""
        return self.score.full_size / self.score.holes

    @property
    def measuring_share(self) -> float:
        """Machine time spent measuring."""
        return self.score.measuring_s / self.score.machine_s if self.score.machine_s else 0.0

    @property
    def badness(self) -> tuple[float, ...]:
        """Sorts the worst first."""
        return self.good, self.full_share, -self.score.rescues, -self.loss.share - self.measuring_share


def run_plant(seed: int, number: int, holes: int) -> PlantScore:
    """Rehearse one plant. Top-level, so that another process can be asked."""
    return rehearse_plant(draw(seed, number, TECHNOLOGY), holes)


def rehearse_plant(drawn: Drawn, holes: int, onlookers: Sequence[Onlooker] = ()) -> PlantScore:
    """Rehearse the diffuser, or its first holes, on a plant."""
    machine = load_machine(packaged_configs() / "machines" / "virtual.toml")
    job = load_job(packaged_configs() / "jobs" / "diffuser.toml")
    plan = build_plan(job, machine)
    if holes:
        plan = replace(plan, holes=plan.holes[:holes])
    score = Score(Case("drawn", drawn.seed, holes=holes), holes=len(plan.holes))
    tick_s = 1.0 / machine.tick_hz
    overcut = learn_overcut(drawn.technology.overcut_mm, ())
    spied = Spied(Controller(machine, job, drawn.technology, plan, overcut), onlookers)
    notebook = Notebook()
    rehearsal = Rehearsal(spied, machine, job, plan, drawn.plant, drawn.seed, notebook, watch=GapWatch(score, tick_s))
    truth = rehearsal.virtual.truth
    losses = DropOutWatch(truth, tick_s)
    driven = DrivenOn(truth, drawn.plant, drawn.seed)
    spied.onlookers += [losses, driven]
    longest_s = LONGEST_REST_S + LONGEST_HOLE_S * len(plan.holes)
    while rehearsal.time_s < longest_s and rehearsal.step(STEP_TICKS):
        pass
    score.outcome = rehearsal.ended.outcome if rehearsal.ended else "stuck"
    score.reason = rehearsal.ended.reason if rehearsal.ended else f"not over after {rehearsal.time_s:.0f} s"
    score.machine_s = rehearsal.time_s
    score_holes(score, job, notebook)
    score_electrode(score, notebook)
    found = PlantScore(drawn, score, losses.loss, hot_openings=truth.hot_openings, crashes=truth.crashes)
    found.looked_at, found.ended_well = driven.looked_at, driven.ended_well
    _count(found, notebook.events)
    return found


def crashed(seed: int, number: int, holes: int, wrong: BaseException) -> PlantScore:
    """The score of a plant on which the program broke down: the worst there is, the place of the mistake named."""
    drawn = draw(seed, number, TECHNOLOGY)
    place = "".join(format_exception(wrong)[-1:]).strip()
    trace = str(wrong.__cause__).strip().strip('"').splitlines()
    where = next((line.strip() for line in reversed(trace) if line.strip().startswith("File")), "")
    # Without a number of holes nothing can be said of how many there would have been; one stands for all.
    return PlantScore(drawn, Score(Case("drawn", drawn.seed), "crashed", f"{place}; {where}", holes=holes or 1))


def _count(found: PlantScore, events: Sequence[Event]) -> None:
    """Count what the events tell."""
    finished = 0
    for event in events:
        match event:
            case ShortBegan():
                found.declared += 1
            case ShortEnded() if event.cause.startswith("drop-out"):
                found.drop_outs_taken += 1
            case ShortEnded():
                found.rungs[event.rung] += 1
                found.answered += event.rung < OPERATOR_RUNG
            case ElectrodeMeasured():
                found.measurements += 1
            case PromptRaised() if not event.planned:
                found.asked[event.topic] += 1
            case HoleFinished():
                found.hole_s += event.seconds
                finished += 1
                if event.outcome != "through":
                    found.faults[event.reason] += 1
    found.hole_s /= max(finished, 1)


# ---------------------------------------------------------------------------------------------------- telling


def table(found: Sequence[PlantScore], title: str) -> Table:
    """One plant a row, the worst first."""
    heads = (
        "no",
        "outcome",
        "calls",
        "full size",
        "ended well",
        "s a hole",
        "true shorts",
        "rungs 1·2·3·4·5",
        "lost",
        "measuring",
    )
    shown = Table(*heads, "why", title=title, show_lines=True)
    for one in sorted(found, key=lambda each: each.badness):
        score = one.score
        shown.add_row(
            str(one.drawn.number),
            f"{score.outcome} {score.finished}/{score.holes}",
            str(score.rescues),
            f"{one.full_share:.1%}",
            f"{one.ended_well}/{one.looked_at}",
            f"{one.hole_s:.0f}",
            str(score.shorts),
            "·".join(str(one.rungs[rung]) for rung in range(1, OPERATOR_RUNG + 1)),
            f"{one.loss.share:.2%}",
            f"{one.measuring_share:.1%}",
            why(one),
        )
    return shown


def why(one: PlantScore) -> str:
    """What happened, and what is unusual about the plant."""
    said = []
    if one.score.outcome != "complete":
        said.append(one.score.reason)
    said += [f"{count} × {reason}" for reason, count in one.faults.most_common(2)]
    said += [f"{count} calls: {topic}" for topic, count in one.asked.most_common(2)]
    if one.hot_openings or one.crashes:
        said.append(f"opened hot {one.hot_openings} ×, rod bent {one.crashes} ×")
    loss = one.loss
    said.append(
        f"{loss.lifts} of {loss.lows} drop-outs lifted for, source away {loss.away_s / (loss.erode_s or 1):.1%}"
    )
    return "; ".join([*said, *unusual(one.drawn)])


def totals(found: Sequence[PlantScore]) -> Iterator[tuple[str, str, str, str, bool]]:
    """What, must, aim, measured, reached."""
    count = len(found)
    good = sum(one.good for one in found)
    must = count - count // MAY_FAIL
    yield "complete without the operator, planned advances apart", f"≥ {must}", f"{count}", f"{good}", good >= must
    holes = sum(one.score.holes for one in found)
    full = sum(one.score.full_size for one in found) / holes
    yield "full-size exits, of all holes planned", "≥ 97 %", "≥ 99.5 %", f"{full:.2%} of {holes}", full >= 0.97
    looked_at = sum(one.looked_at for one in found) or 1
    well = sum(one.ended_well for one in found) / looked_at
    what = f"would get no more than {LARGER_UM / 1000.0:g} mm larger, driven on"
    yield what, "–", "–", f"{well:.2%} of {looked_at} looked at", True
    erode_s = sum(one.loss.erode_s for one in found) or 1.0
    lost = sum(one.loss.lost_s + one.loss.held_s for one in found) / erode_s
    largest = max(one.loss.share for one in found)
    told = f"{lost:.2%}, worst plant {largest:.2%}"
    yield "time lost to drop-outs, share of erode time", "≤ 5 %", "≤ 1 %", told, lost <= 0.05
    machine_s = sum(one.score.machine_s for one in found) or 1.0
    measuring = sum(one.score.measuring_s for one in found) / machine_s
    told = f"{measuring:.1%}, worst plant {max(one.measuring_share for one in found):.1%}"
    yield "measuring, share of machine time", "≤ 5 %", "≤ 2 %", told, measuring <= 0.05
    shorts = sum(one.declared - one.drop_outs_taken for one in found)
    answered = sum(one.answered for one in found)
    share = answered / shorts if shorts else 1.0
    yield "shorts ended without the operator", "≥ 99.9 %", "all", f"{share:.2%} of {shorts}", share >= 0.999


def keep(found: Sequence[PlantScore], folder: Path) -> None:
    """Write every plant, and what the controller was told, so that it can be rehearsed again."""
    folder.mkdir(parents=True, exist_ok=True)
    for one in found:
        name = f"{one.drawn.number:02d}"
        (folder / f"plant-{name}.toml").write_text(plant_text(one.drawn.plant), encoding="utf-8")
        guesses = {name: getattr(one.drawn.technology, name) for name in one.drawn.guessed}
        told = [f"[{key}]\nguess = {figure.guess!r}\nu = {figure.u!r}\n" for key, figure in guesses.items()]
        (folder / f"technology-{name}.toml").write_text("\n".join(told), encoding="utf-8")


def run_all(seed: int, numbers: Sequence[int], holes: int, jobs: int, screen: Console) -> list[PlantScore]:
    """All plants over a pool of processes, telling each that is done."""
    began_s, found = monotonic(), []
    with ProcessPoolExecutor(jobs) as pool:
        running = {pool.submit(run_plant, seed, number, holes): number for number in numbers}
        for ready in as_completed(running):
            wrong = ready.exception()
            found.append(one := crashed(seed, running[ready], holes, wrong) if wrong else ready.result())
            score = one.score
            told = f"plant {one.drawn.number} seed {one.drawn.seed}: {score.outcome}, {score.finished} of {score.holes}"
            told += f" holes, {one.full_share:.1%} full size, {score.rescues} calls. {score.reason}"
            took = f"{monotonic() - began_s:.0f} s: {len(found)} of {len(numbers)}"
            screen.print(f"{took}; {told}", markup=False, highlight=False, soft_wrap=True)
    return found


def main() -> None:
    """Run the benchmark and print its tables; exit code 1 when a row is not reached."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plants", type=int, default=40)
    parser.add_argument("--holes", type=int, default=0, help="first so many holes of the diffuser; 0 for all")
    parser.add_argument("--only", default="", help="numbers of plants, separated by commas; 0 is the default plant")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, default=None, help="folder for the plants; else runs/bench-plants-SEED")
    asked = parser.parse_args()
    numbers = [int(one) for one in asked.only.split(",")] if asked.only else range(1, asked.plants + 1)
    found = run_all(asked.seed, list(numbers), asked.holes, asked.jobs, Console(stderr=True))
    folder = asked.keep or Path("runs") / f"bench-plants-{asked.seed}"
    keep(found, folder)
    screen = Console(width=WIDTH)
    screen.print(table(found, f"Plants drawn from seed {asked.seed}, the worst first; kept in {folder}"))
    reach = Table("what", "must", "aim", "measured", "")
    rows = list(totals(found))
    for what, must, aim, measured, reached in rows:
        reach.add_row(what, must, aim, measured, "yes" if reached else "NO")
    screen.print(reach)
    raise SystemExit(not all(row[-1] for row in rows))


if __name__ == "__main__":
    main()
