"""`gapwright plan`: checks, order, budget and picture of a job, before anything moves."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from controller.plan.budget import Budget, budget
from controller.plan.build import PlanRefused
from controller.plan.patterns import places
from controller.plan.plan import Travel
from controller.plan.ranges import Range
from controller.plan.size import Size, judge_size
from controller.record.summary import spoken_time
from controller.screen import AsJson, BadUsage, JobName, MachineName, out
from controller.settings.job import Job
from controller.settings.load import SettingsError
from controller.settings.machine import Machine
from controller.trials import Trial, chance, rehearse_beside
from controller.workshop import Assignment, assignment

PICTURES = (".svg", ".png", ".pdf")


@dataclass(slots=True, frozen=True)
class Foreseen:
    """A job as it is foreseen: budget, size, and what rehearsals took. `label` says what was changed, if anything."""

    label: str
    given: Assignment
    sums: Budget
    size: Size
    trials: list[Trial] = field(default_factory=list)


def plan(
    job: JobName,
    machine: MachineName = "virtual.toml",
    rehearsals: Annotated[int, typer.Option("--rehearsals", min=0, help="Rehearse so many times, seeds 1 to N.")] = 0,
    cluster: Annotated[
        str | None, typer.Option("--cluster", metavar="ADDRESS", help="Rehearse on the dask cluster at this address.")
    ] = None,
    compare: Annotated[
        list[str] | None,
        typer.Option("--compare", metavar="KEY=VALUE[,…]", help="The same with entries of job or machine changed."),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", help="Picture of holes and order.", show_default="<job>-plan.svg")
    ] = None,
    no_picture: Annotated[bool, typer.Option("--no-picture", help="Draw no picture.")] = False,
    as_json: AsJson = False,
) -> None:
    """Check a job, order its holes, and say what it will take, as ranges that hold about 95 %."""
    if picture is not None and picture.suffix not in PICTURES:
        raise BadUsage(f"--picture {picture}: must end in {', '.join(PICTURES)}")
    if cluster is not None and not rehearsals:
        raise BadUsage(f"--cluster {cluster}: there is nothing to do for it; say how many with --rehearsals N")
    changes = [_changes(words) for words in compare or ()]

    def foresee(label: str, changed: dict[str, Any] | None = None) -> Foreseen:
        given = assignment(job, machine, rehearsed=None, changes=changed)
        sums = budget(given.job, given.machine, given.technology, given.plan, given.belief.overcut)
        trials = rehearse_beside(given, rehearsals, cluster, quiet=as_json) if rehearsals else []
        return Foreseen(label, given, sums, judge_size(given.job, given.belief.overcut), trials)

    # First, so that a cluster that fails leaves nothing half-done.
    first = foresee("as it is")
    others: list[Foreseen | str] = []
    for words, changed in zip(compare or (), changes, strict=True):
        try:
            others.append(foresee(words, changed))
        except (PlanRefused, SettingsError) as refused:
            others.append(f"With {words} the job is refused: {'; '.join(str(refused).splitlines())}")
    drawn = None if no_picture else picture or Path(f"{first.given.job.job.name}-plan.svg")
    if drawn is not None:
        from controller.record.plan_picture import draw_plan  # noqa: PLC0415 (half a second for every other command)

        draw_plan(drawn, first.given.job, first.given.machine, first.given.plan)
    if as_json:
        out.print(_as_json(first, drawn, others), markup=False, highlight=False, soft_wrap=True)
        return
    _show(first, drawn)
    _show_others(first, others)


def _changes(words: str) -> dict[str, Any]:
    """`electrode.form=tube,electrode.bore_mm=0.6` as entries by dotted key; values are TOML, quotes may be left out."""
    changes: dict[str, Any] = {}
    for part in words.split(","):
        key, equals, written = (side.strip() for side in part.partition("="))
        if not equals or "." not in key or key.split(".")[0] not in {*Job.model_fields, *Machine.model_fields}:
            raise BadUsage(
                f"--compare {words}: write KEY=VALUE with a key of the job or machine file, such as "
                f"electrode.diameter_mm=1.1 or spindle.fitted=true"
            )
        try:
            changes[key] = tomllib.loads(f"entry = {written}")["entry"]
        except tomllib.TOMLDecodeError:
            changes[key] = written
    return changes


def _show(first: Foreseen, drawn: Path | None) -> None:
    given, sums = first.given, first.sums
    job, belief = given.job, given.belief
    holes = f"{len(given.plan.holes)} holes of {job.holes.diameter_mm:g} ± {job.holes.tolerance_mm:g} mm"
    overcut = f"{belief.overcut.mean_mm:.3f} ± {belief.overcut.u_new_mm:.3f} mm a side"
    lines = [
        f"{job.job.name} on {given.machine.name}: {holes} through {job.work.thickness_mm:g} mm {job.work.material}",
        "Checked: every hole, touch point and depth lies within the machine's travel; no hole meets another.",
        *_frame_words(given),
        f"{_order_words(given.plan.travel, job)}. It begins with hole {given.plan.holes[0].index}.",
        f"Overcut {overcut}, from {belief.source}: {first.size.words}.",
    ]
    if words := given.calibration_words():
        lines.append(f"Measured of the machine: {words}.")
    for line in lines:
        out.print(line, markup=False, highlight=False, soft_wrap=True)
    out.print(_budget_table(sums, first.trials), highlight=False)
    if first.trials:
        out.print(_chance_words(first.trials), highlight=False, markup=False, soft_wrap=True)
    for note in (*given.plan.notes, *sums.notes):
        out.print(f"Note: {note}.", markup=False, highlight=False, soft_wrap=True)
    if drawn is not None:
        out.print(f"Picture: {drawn}", markup=False, highlight=False, soft_wrap=True)


def _frame_words(given: Assignment) -> list[str]:
    """Which frame the job is planned in, when it was located."""
    located = given.located
    if located is None:
        return []
    x, y = located.frame.origin_mm
    slope = math.hypot(*located.frame.slope) * 1000.0
    worst = max(located.u_at_mm(place) for place in places(given.job.holes))
    odd = f"; its middles fit to {1e3 * located.misfit_mm:.0f} µm" if located.misfit_mm else ""
    words = (
        f"Frame: plate {given.job.work.plate!r} by {located.source}: zero at x {x:.3f}, y {y:.3f} mm, turned "
        f"{located.frame.rotation_deg:.3f}°, rising {slope:.1f} mm a metre; holes are placed to "
        f"± {2e3 * worst:.0f} µm (k = 2){odd}."
    )
    return [words]


def _order_words(travel: Travel, job: Job) -> str:
    """The travel, against the order of the job and against what no order could beat."""
    less = (
        f"{100 * travel.gain:.0f} % less than in" if travel.gain >= 0.0 else f"{-100 * travel.gain:.0f} % more than in"
    )
    words = (
        f"Order: {travel.length_mm / 1000:.2f} m of travel, {less} the job's own order "
        f"({travel.row_by_row_mm / 1000:.2f} m); no order could take less than {travel.least_mm / 1000:.2f} m"
    )
    if job.holes.apart_mm:
        near = f"but for {travel.crowded} holes" if travel.crowded else "every time"
        words += f", the next hole {job.holes.apart_mm:g} mm or more from the last {near}"
    return words


def _chance_words(trials: Sequence[Trial]) -> str:
    found = chance(trials)
    good = sum(trial.outcome == "complete" and trial.calls == 0 for trial in trials)
    planned = max(trial.advances for trial in trials)
    but = f", but for up to {planned} planned advances of the electrode" if planned else ""
    return (
        f"Chance to finish without calling you{but}: {100 * found.expected:.0f} %, {100 * found.low:.0f} to "
        f"{100 * found.high:.0f} % by {good} of {len(trials)} rehearsals on the default plant."
    )


def _show_others(first: Foreseen, others: Sequence[Foreseen | str]) -> None:
    """What was compared, side by side; what was refused, in its own words."""
    possible = [other for other in others if isinstance(other, Foreseen)]
    if possible:
        columns = [first, *possible]
        table = Table("compared", *(each.label for each in columns), box=None, pad_edge=False)
        for words, figure in _COMPARED:
            table.add_row(words, *(figure(each) for each in columns))
        if first.trials:
            table.add_row("without calling you", *(f"{100 * chance(each.trials).expected:.0f} %" for each in columns))
            table.add_row("rehearsed time", *(_rehearsed(each) for each in columns))
        out.print()
        out.print(table, highlight=False)
    for other in others:
        if isinstance(other, str):
            out.print(other, markup=False, highlight=False, soft_wrap=True)


def _rehearsed(each: Foreseen) -> str:
    taken = [trial.machine_s for trial in each.trials]
    return f"{spoken_time(min(taken))} to {spoken_time(max(taken))}"


def _spoken(range_: Range, spoken: Callable[[float], str]) -> str:
    return f"{spoken(range_.expected)} ({spoken(range_.low)} to {spoken(range_.high)})"


_COMPARED: tuple[tuple[str, Callable[[Foreseen], str]], ...] = (
    ("machine time", lambda each: _spoken(each.sums.machine_seconds, spoken_time)),
    ("electrode, mm", lambda each: _spoken(each.sums.electrode_mm, "{:.1f}".format)),
    ("rods", lambda each: _spoken(each.sums.rods, "{:.0f}".format)),
    ("advances", lambda each: _spoken(each.sums.advances, "{:.0f}".format)),
    ("diameter, mm", lambda each: f"{each.size.diameter_mm:.3f} ± {2.0 * each.size.u_mm:.3f}"),
    ("in tolerance", lambda each: f"{100 * each.size.within:.0f} %"),
)


def _budget_table(sums: Budget, trials: Sequence[Trial]) -> Table:
    """The budget, with what rehearsals took beside it."""
    table = Table("it will take", "at least", "expected", "at most", box=None, pad_edge=False)
    if trials:
        table.add_column(f"{len(trials)} rehearsals took")
    for words, sum_, taken, spoken in _budget_rows(sums, trials):
        cells = [words, spoken(sum_.low), spoken(sum_.expected), spoken(sum_.high)]
        table.add_row(*cells, *([f"{spoken(min(taken))} to {spoken(max(taken))}"] if trials else []))
    if trials:
        complete = sum(trial.outcome == "complete" for trial in trials)
        table.add_row("complete", "", "", "", f"{complete} of {len(trials)}")
    return table


def _budget_rows(sums: Budget, trials: Sequence[Trial]) -> list[tuple[str, Range, list[float], Callable[[float], str]]]:
    def whole(count: float) -> str:
        return f"{count:.0f}"

    return [
        ("machine time", sums.machine_seconds, [trial.machine_s for trial in trials], spoken_time),
        ("  of it in the holes", sums.work_seconds, [trial.work_s for trial in trials], spoken_time),
        ("electrode, mm", sums.electrode_mm, [trial.electrode_mm for trial in trials], "{:.1f}".format),
        ("measurements", sums.measurements, [float(trial.measurements) for trial in trials], whole),
        ("advances by the operator", sums.advances, [float(trial.advances) for trial in trials], whole),
    ]


def _as_json(first: Foreseen, drawn: Path | None, others: Sequence[Foreseen | str]) -> str:
    given, belief = first.given, first.given.belief
    told = {
        "job": given.job.job.name,
        "machine": given.machine.name,
        "holes_total": len(given.plan.holes),
        "order": [hole.index for hole in given.plan.holes],
        "travel": {**asdict(given.plan.travel), "gain": given.plan.travel.gain},
        "overcut": {**asdict(belief.overcut), "source": belief.source},
        "picture": None if drawn is None else str(drawn),
        **_figures(first),
        "notes": [*given.plan.notes, *first.sums.notes],
        "compared": [
            {"refused": other} if isinstance(other, str) else {"change": other.label, **_figures(other)}
            for other in others
        ],
    }
    return json.dumps(told, indent=2)


def _figures(each: Foreseen) -> dict[str, Any]:
    return {
        "budget": asdict(each.sums),
        "size": asdict(each.size),
        "rehearsals": [asdict(trial) for trial in each.trials],
        "chance": asdict(chance(each.trials)) if each.trials else None,
    }
