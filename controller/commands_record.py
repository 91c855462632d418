"""`gapwright gauge` and `gapwright report`: what is done with a run afterwards."""

from __future__ import annotations

import json
import tomllib
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from controller.plan.overcut import Gauged, Overcut, learn_overcut
from controller.plan.size import Size, judge_size
from controller.record.journal import GaugedHole, RunRecord, append_gauged, read_journal
from controller.record.learned import append_learned, read_learned
from controller.record.run_folder import complete_run_folder
from controller.record.summary import summary_json
from controller.screen import AsJson, BadUsage, out
from controller.settings.job import Job
from controller.settings.technology import Technology
from controller.workshop import gauged_holes

# Standard uncertainty of a hole gauged with pins when none is stated: pins come in steps of 0.02 mm, a hole lies evenly
# between the last that passes and the next (0.02/√12 = 0.006 mm), a little more for feel. Common practice, no source.
PIN_U_MM = 0.01

# A pin reading this far off the size wanted is rather a slip of the keyboard: chosen as half of the size either way.
SLIP_SHARE = 0.5

RunFolder = Annotated[Path, typer.Argument(metavar="RUN", help="The folder of the run.")]


def gauge(
    run: RunFolder,
    hole: Annotated[int, typer.Argument(metavar="HOLE", help="Number of the hole, as in holes.csv and the report.")],
    diameter: Annotated[float, typer.Option("--diameter", metavar="D", help="Largest pin that passes, mm.")],
    uncertainty: Annotated[
        float, typer.Option("--uncertainty", metavar="U", help="Standard uncertainty, mm.")
    ] = PIN_U_MM,
    as_json: AsJson = False,
) -> None:
    """Enter a hole measured by hand; say what it teaches about the overcut, and whether the size can be made."""
    record = read_journal(run)
    _refuse_nonsense(record, run, hole, diameter, uncertainty)
    start = record.start
    entry = GaugedHole(hole, diameter, uncertainty, start.rod_mm, f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}")
    append_gauged(run, [entry])
    record = read_journal(run)
    kept = append_learned(Path(), run, start, record.gauged_last().values())
    complete_run_folder(run)
    gauged = gauged_holes(record)
    technology, job = _as_it_was(record)
    overcut = learn_overcut(technology.overcut_mm, gauged)
    size = judge_size(_no_first_article(job), overcut)
    if as_json:
        told = {
            "hole": hole,
            "gauged": len(gauged),
            "overcut": asdict(overcut),
            "size": asdict(size),
            "kept": str(kept),
        }
        out.print(json.dumps(told, indent=2), markup=False, highlight=False, soft_wrap=True)
        return
    known = read_learned(Path(), start.machine, start.technology, rehearsed=start.rehearsed)
    _tell(run, gauged, overcut, size, f"{kept} now holds {_holes(len(known))}")


def report(run: RunFolder, as_json: AsJson = False) -> None:
    """Make the report and the tables of a run again from its journal, also of one that broke off."""
    summary = complete_run_folder(run)
    if as_json:
        out.print(summary_json(summary), markup=False, highlight=False, soft_wrap=True, end="")
        return
    out.print(summary.sentence(), highlight=False, markup=False, soft_wrap=True)
    out.print(f"Report: {run / 'report.html'}", markup=False, highlight=False, soft_wrap=True)


def _refuse_nonsense(record: RunRecord, run: Path, hole: int, diameter: float, uncertainty: float) -> None:
    """Everything wrong with an entry, at once."""
    start = record.start
    problems = []
    if hole not in {place.hole for place in record.planned}:
        problems.append(f"{run}: has no hole {hole}; its holes are numbered 1 to {len(record.planned)}")
    elif hole not in record.finished():
        problems.append(f"{run}: hole {hole} was not drilled, so it can't have been gauged")
    if not start.rod_mm < diameter < start.diameter_mm * (1 + SLIP_SHARE):
        most_mm = start.diameter_mm * (1 + SLIP_SHARE)
        problems.append(
            f"--diameter {diameter:g}: must lie between the rod ({start.rod_mm:g} mm) and {most_mm:g} mm, "
            f"for a {start.diameter_mm:g} mm hole; give the largest pin that passes, in mm"
        )
    if not 0 < uncertainty < start.diameter_mm:
        problems.append(f"--uncertainty {uncertainty:g}: must be more than 0, in mm; pins give about {PIN_U_MM:g}")
    if problems:
        raise BadUsage("\n".join(problems))


def _as_it_was(record: RunRecord) -> tuple[Technology, Job]:
    """Technology and job with which the run was started, from the journal."""
    start = record.start
    return (
        Technology.model_validate(tomllib.loads(start.technology_toml)),
        Job.model_validate(tomllib.loads(start.job_toml)),
    )


def _no_first_article(job: Job) -> Job:
    """The job to be judged as if it were not there to learn the overcut."""
    return job.model_copy(update={"job": job.job.model_copy(update={"first_article": False})})


def _holes(count: int) -> str:
    return "1 hole" if count == 1 else f"{count} holes"


def _tell(run: Path, gauged: list[Gauged], overcut: Overcut, size: Size, kept: str) -> None:
    learned = f"{overcut.mean_mm:.4f} ± {overcut.u_mm:.4f} mm a side (standard uncertainty)"
    lines = [
        f"Gauged {_holes(len(gauged))} of {run}: overcut {learned}; holes scatter by {overcut.scatter_mm:.4f} mm.",
        size.words[:1].upper() + size.words[1:] + ".",
        f"Kept for later jobs: {kept}.",
    ]
    for line in lines:
        out.print(line, highlight=False, markup=False, soft_wrap=True)
