"""`gapwright plan`: checks, order, budget and picture of a job, before anything moves."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from controller.core.events import ElectrodeAdvanced, ElectrodeMeasured, HoleFinished
from controller.executor import executor
from controller.plan.budget import Budget, budget
from controller.plan.ranges import Range
from controller.plan.size import Size, judge_size
from controller.record.summary import spoken_time
from controller.screen import AsJson, BadUsage, HoleProgressBar, JobName, MachineName, out
from controller.workshop import Assignment, assignment, controller_for
from sim.notebook import Notebook
from sim.rehearsal import Rehearsal
from sim.settings import PlantSettings, load_plant

PICTURES = (".svg", ".png", ".pdf")


# Ticks between two looks at whether a rehearsal is over: chosen large, since nothing else happens there.
STEP_TICKS = 100_000


@dataclass(slots=True, frozen=True)
class Trial:
    """What one rehearsal took; lengths in mm, times in s of machine time."""

    seed: int
    outcome: str
    machine_s: float
    erode_s: float
    electrode_mm: float
    measurements: int
    advances: int


def plan(
    job: JobName,
    machine: MachineName = "virtual.toml",
    rehearsals: Annotated[int, typer.Option("--rehearsals", min=0, help="Rehearse so many times, seeds 1 to N.")] = 0,
    cluster: Annotated[
        str | None, typer.Option("--cluster", metavar="ADDRESS", help="Rehearse on the dask cluster at this address.")
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
    given = assignment(job, machine, rehearsed=None)
    # First, so that a cluster that fails leaves nothing half-done.
    trials = _trials(given, rehearsals, cluster, quiet=as_json) if rehearsals else []
    sums = budget(given.job, given.machine, given.technology, given.plan, given.belief.overcut)
    size = judge_size(given.job, given.belief.overcut)
    drawn = None if no_picture else picture or Path(f"{given.job.job.name}-plan.svg")
    if drawn is not None:
        from controller.record.plan_picture import draw_plan  # noqa: PLC0415 (half a second for every other command)

        draw_plan(drawn, given.job, given.machine, given.plan)
    if as_json:
        out.print(_as_json(given, sums, size, drawn, trials), markup=False, highlight=False, soft_wrap=True)
    else:
        _show(given, sums, size, drawn, trials)


def _trials(given: Assignment, count: int, cluster: str | None, *, quiet: bool) -> list[Trial]:
    """Seeded rehearsals beside each other, in the order of their seeds whoever makes them."""
    trials: list[Trial] = []
    with (
        executor(cluster) as pool,
        HoleProgressBar(count, "rehearsals", quiet=quiet, what="rehearsals") as progress,
    ):
        for trial in pool.map(partial(try_out, given, load_plant()), range(1, count + 1)):
            trials.append(trial)
            progress.show(len(trials), "", last=len(trials) == count)
    return trials


def try_out(given: Assignment, plant: PlantSettings, seed: int) -> Trial:
    """Rehearse a job on a plant. Top-level and with all it needs as arguments, so that any process can be asked."""
    notebook = Notebook()
    core = controller_for(given)
    rehearsal = Rehearsal(core, given.machine, given.job, given.plan, plant, seed, notebook)
    while rehearsal.step(STEP_TICKS):
        pass
    finished = [event for event in notebook.events if isinstance(event, HoleFinished)]
    return Trial(
        seed,
        rehearsal.ended.outcome if rehearsal.ended else "",
        rehearsal.time_s,
        sum(hole.erode_s for hole in finished),
        sum(hole.wear_mm for hole in finished),
        sum(isinstance(event, ElectrodeMeasured) for event in notebook.events),
        sum(isinstance(event, ElectrodeAdvanced) for event in notebook.events),
    )


def _show(given: Assignment, sums: Budget, size: Size, drawn: Path | None, trials: Sequence[Trial]) -> None:
    job, belief = given.job, given.belief
    holes = f"{len(given.plan.holes)} holes of {job.holes.diameter_mm:g} ± {job.holes.tolerance_mm:g} mm"
    overcut = f"{belief.overcut.mean_mm:.3f} ± {belief.overcut.u_new_mm:.3f} mm a side"
    lines = [
        f"{job.job.name} on {given.machine.name}: {holes} through {job.work.thickness_mm:g} mm {job.work.material}",
        "Checked: every hole, touch point and depth lies within the machine's travel; no hole meets another.",
        f"Order: {sums.travel_mm / 1000:.2f} m of travel, beginning with hole {given.plan.holes[0].index}.",
        f"Overcut {overcut}, from {belief.source}: {size.words}.",
    ]
    if words := given.calibration_words():
        lines.append(f"Measured of the machine: {words}.")
    for line in lines:
        out.print(line, markup=False, highlight=False, soft_wrap=True)
    out.print(_budget_table(sums, trials), highlight=False)
    for note in sums.notes:
        out.print(f"Note: {note}.", markup=False, highlight=False, soft_wrap=True)
    if drawn is not None:
        out.print(f"Picture: {drawn}", markup=False, highlight=False, soft_wrap=True)


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
        ("  of it eroding", sums.erode_seconds, [trial.erode_s for trial in trials], spoken_time),
        ("electrode, mm", sums.electrode_mm, [trial.electrode_mm for trial in trials], "{:.1f}".format),
        ("measurements", sums.measurements, [float(trial.measurements) for trial in trials], whole),
        ("advances by the operator", sums.advances, [float(trial.advances) for trial in trials], whole),
    ]


def _as_json(given: Assignment, sums: Budget, size: Size, drawn: Path | None, trials: Sequence[Trial]) -> str:
    belief = given.belief
    told = {
        "job": given.job.job.name,
        "machine": given.machine.name,
        "holes_total": len(given.plan.holes),
        "order": [hole.index for hole in given.plan.holes],
        "budget": asdict(sums),
        "overcut": {**asdict(belief.overcut), "source": belief.source},
        "size": asdict(size),
        "picture": None if drawn is None else str(drawn),
        "rehearsals": [asdict(trial) for trial in trials],
    }
    return json.dumps(told, indent=2)
