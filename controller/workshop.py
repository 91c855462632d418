"""What a command works on, loaded and checked: job, machine, technology, plan, and the overcut believed."""

from __future__ import annotations

import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

from controller.core.controller import Controller
from controller.core.standing import Standing
from controller.plan.budget import budget
from controller.plan.build import PlanRefused, build_plan
from controller.plan.frame import Frame
from controller.plan.overcut import Gauged, Overcut, learn_overcut
from controller.plan.patterns import places
from controller.plan.plan import Plan
from controller.plan.practice import judge_practice
from controller.plan.ranges import Range
from controller.plan.size import judge_size
from controller.plan.work_frame import WorkFrame, frame_from
from controller.record.calibration import calibration_file, calibration_text, read_calibration
from controller.record.journal import PlacedHole, RunRecord, StartRecord, read_journal
from controller.record.learned import learned_file, read_learned
from controller.record.located import Entry, located_file, read_located
from controller.settings.calibration import Calibration, calibrated
from controller.settings.job import Job
from controller.settings.load import load_job, load_machine, load_technology, resolve
from controller.settings.machine import Machine
from controller.settings.technology import Technology
from controller.settings.text import settings_text

# What was located further ahead of this computer's clock than this (h) was written by a clock that differs. Chosen.
CLOCKS_DIFFER_H: Final = 0.1


class FirstArticleError(Exception):
    """A first article that can't be used; the message names the run and why."""


@dataclass(slots=True, frozen=True)
class Belief:
    """The overcut believed and where it comes from, in words."""

    overcut: Overcut
    source: str

    def words(self) -> str:
        """Both in one line."""
        return f"{self.overcut.mean_mm:.3f} ± {self.overcut.u_new_mm:.3f} mm a side, from {self.source}"


@dataclass(slots=True, frozen=True)
class Assignment:
    """A job on a machine: the files, what they say, and the plan made of them."""

    job_file: Path
    machine_file: Path
    technology_file: Path
    job: Job
    machine: Machine
    technology: Technology
    plan: Plan
    belief: Belief
    calibration: Calibration | None = None
    located: WorkFrame | None = None

    def calibration_words(self) -> str:
        """What was measured of the machine and is believed of it, in words; empty when nothing was."""
        if self.calibration is None:
            return ""
        return f"{self.calibration.words()}, from {calibration_file(Path(), self.machine.name)}"

    def machine_text(self) -> str:
        """The machine as this job runs on it: its file, or with a located frame what that makes of it."""
        if self.located is None:
            return self.machine_file.read_text(encoding="utf-8")
        return settings_text(self.machine)


def assignment(
    job_name: str,
    machine_name: str,
    *,
    rehearsed: bool | None,
    first_articles: Sequence[Path] = (),
    changes: Mapping[str, Any] | None = None,
) -> Assignment:
    """Load a job with a machine and plan it.

    Args:
        job_name: Name or path of the job file.
        machine_name: Name or path of the machine file.
        rehearsed: Which learned holes to believe: those of rehearsals, those of real runs, or (None) the real ones if
            there are any and else the rehearsed ones.
        first_articles: Runs whose gauged holes are believed instead of the learned ones.
        changes: Entries of the job or of the machine to replace, by dotted key: what if it were otherwise.

    Raises:
        SettingsError, PlanRefused, JournalError, FirstArticleError: With everything that is wrong.
    """
    job_file, machine_file = resolve(job_name, kind="jobs"), resolve(machine_name, kind="machines")
    of_job = {key: entry for key, entry in (changes or {}).items() if key.split(".")[0] in Job.model_fields}
    of_machine = {key: entry for key, entry in (changes or {}).items() if key not in of_job}
    job, machine = load_job(job_file, of_job), load_machine(machine_file, of_machine)
    # A rehearsal is of the virtual machine, of which a calibration of the real one says nothing.
    calibration = None if rehearsed else read_calibration(Path(), machine.name)
    machine = calibrated(machine, calibration)
    technology_file = resolve(job.job.technology, job_file, "technology")
    technology = load_technology(technology_file)
    belief = _belief(job, machine, technology, rehearsed, first_articles)
    try:
        located = located_frame(job, machine, rehearsed=rehearsed)
        if located is not None:
            machine = machine.model_copy(update={"work_place": located.work_place(machine.work_place)})
        plan = _plan(job, machine, technology, belief.overcut)
    except PlanRefused as refused:
        raise refused.of(str(job_file)) from refused
    return Assignment(
        job_file, machine_file, technology_file, job, machine, technology, plan, belief, calibration, located
    )


def machine_at_hand(machine_name: str) -> Machine:
    """A real machine, with what was measured of it. Raises SettingsError."""
    machine = load_machine(resolve(machine_name, kind="machines"))
    return calibrated(machine, read_calibration(Path(), machine.name))


def located_frame(job: Job, machine: Machine, *, rehearsed: bool | None) -> WorkFrame | None:
    """The frame located on the plate that a job names; None where it names none.

    `rehearsed` is as for `assignment`.

    Raises:
        PlanRefused: Nothing was located, not enough, or too long ago.
        SettingsError: What was kept can't be understood.
    """
    plate = job.work.plate
    if not plate:
        return None
    path = located_file(Path(), machine.name, plate)
    found: list[Entry] = []
    for whose in (False, True) if rehearsed is None else (rehearsed,):
        found = found or read_located(path, rehearsed=whose)
    how = f"`gapwright locate corner JOB --machine {machine.name}{' --rehearse' if rehearsed else ''}`"
    if not found:
        kind = "in a rehearsal " if rehearsed else "on the real machine " if rehearsed is False else ""
        raise PlanRefused([f'work.plate is "{plate}": nothing was located on it {kind}({path}); do so first: {how}'])
    frame = frame_from([entry.feature() for entry in found])
    if isinstance(frame, str):
        raise PlanRefused([f'work.plate is "{plate}": {path} has {frame}'])
    ages_h = [entry.age_h(datetime.now(UTC)) for entry in found if entry.what != "plane"]
    age_h = max(ages_h)
    if min(ages_h) < -CLOCKS_DIFFER_H:
        ahead = (
            f'work.plate is "{plate}": located {-min(ages_h):.0f} h in the future, says {path}: is the clock of this '
            f"computer right? Set it, or locate the plate again: {how}"
        )
        raise PlanRefused([ahead])
    if age_h > job.work.plate_max_age_h:
        stale = (
            f'work.plate is "{plate}": located {age_h:.0f} h ago, longer than work.plate_max_age_h '
            f"({job.work.plate_max_age_h:g}); locate it again: {how}"
        )
        raise PlanRefused([stale])
    return frame


def _plan(job: Job, machine: Machine, technology: Technology, overcut: Overcut) -> Plan:
    """The plan, or everything that speaks against it, a rod that can't make the size included."""
    size = judge_size(job, overcut)
    practice = judge_practice(job, technology, overcut, places(job.holes))
    problems = [*practice.problems, *([] if size.ok else [size.words])]
    try:
        plan = build_plan(job, machine)
    except PlanRefused as refused:
        raise PlanRefused([*refused.problems, *problems]) from refused
    if problems:
        raise PlanRefused(problems)
    return replace(plan, notes=tuple(practice.notes))


def _belief(
    job: Job, machine: Machine, technology: Technology, rehearsed: bool | None, first_articles: Sequence[Path]
) -> Belief:
    if job.job.first_article:
        return Belief(learn_overcut(technology.overcut_mm, ()), "the technology's guess, as for every first article")
    if first_articles:
        gauged = [hole for run in first_articles for hole in _gauged_in(run, machine, technology, rehearsed)]
        return _learned(technology, gauged, f"{_holes(gauged)} of {', '.join(str(run) for run in first_articles)}")
    for whose in (False, True) if rehearsed is None else (rehearsed,):
        gauged = read_learned(Path(), machine.name, technology.pair.name, rehearsed=whose)
        if gauged:
            place = learned_file(Path(), machine.name, technology.pair.name)
            kind = "rehearsed " if whose else ""
            return _learned(technology, gauged, f"{kind}{_holes(gauged)} in {place}")
    return Belief(learn_overcut(technology.overcut_mm, ()), "the technology's guess")


def _holes(gauged: Sequence[Gauged]) -> str:
    return f"{len(gauged)} gauged hole{'s' if len(gauged) != 1 else ''}"


def _learned(technology: Technology, gauged: Sequence[Gauged], source: str) -> Belief:
    """Learned on one plate and taken to another one, hence `carried`."""
    return Belief(learn_overcut(technology.overcut_mm, gauged).carried(), source)


def _gauged_in(run: Path, machine: Machine, technology: Technology, rehearsed: bool | None) -> list[Gauged]:
    """The gauged holes of a run, if they say anything about this machine with this technology."""
    record = read_journal(run)
    start = record.start
    if (start.machine, start.technology) != (machine.name, technology.pair.name):
        raise FirstArticleError(
            f"{run}: was made on {start.machine} with {start.technology}, not on {machine.name} with "
            f"{technology.pair.name}; its overcut doesn't hold here"
        )
    if rehearsed is not None and start.rehearsed != rehearsed:
        here, there = ("rehearsal", "real run") if rehearsed else ("real run", "rehearsal")
        raise FirstArticleError(f"{run}: is a {there}; its overcut doesn't hold for a {here}")
    if not record.gauged:
        raise FirstArticleError(f"{run}: no hole was gauged; enter some with `gapwright gauge {run} HOLE --diameter D`")
    return gauged_holes(record)


def gauged_holes(record: RunRecord) -> list[Gauged]:
    """The gauged holes of a run that count."""
    return [Gauged(each.hole, each.diameter_mm, each.u_mm, each.rod_mm) for each in record.gauged_last().values()]


def controller_for(given: Assignment, before: Standing | None = None) -> Controller:
    """The control core for an assignment, begun anew or taken up where it stands."""
    return Controller(given.machine, given.job, given.technology, given.plan, given.belief.overcut, before)


def start_record(
    given: Assignment, started_utc: str, *, seed: int | None = None, plant_toml: str = "", operator: bool = True
) -> StartRecord:
    """The start record of a run; a seed makes it a rehearsal."""
    job, overcut = given.job, given.belief.overcut
    return StartRecord(
        job=job.job.name,
        machine=given.machine.name,
        technology=given.technology.pair.name,
        job_toml=given.job_file.read_text(encoding="utf-8"),
        machine_toml=given.machine_text(),
        technology_toml=given.technology_file.read_text(encoding="utf-8"),
        calibration_toml="" if given.calibration is None else calibration_text(given.calibration),
        plant_toml=plant_toml,
        thickness_mm=job.work.thickness_mm,
        rod_mm=job.electrode.diameter_mm,
        diameter_mm=job.holes.diameter_mm,
        tolerance_mm=job.holes.tolerance_mm,
        overcut_mm=overcut.mean_mm,
        overcut_u_mm=overcut.u_mm,
        overcut_scatter_mm=overcut.scatter_mm,
        overcut_n=overcut.n,
        overcut_from=given.belief.source,
        rehearsed=seed is not None,
        seed=seed,
        operator=operator,
        versions=versions(),
        started_utc=started_utc,
        job_file=str(given.job_file.resolve()),
        machine_file=str(given.machine_file.resolve()),
    )


def versions() -> dict[str, str]:
    """Versions of what computes: ours, the interpreter, and the libraries that touch numbers."""
    found = {"python": platform.python_version()}
    for name in ("gapwright", "numpy", "scipy", "pydantic", "transitions"):
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "from a checkout"
    return found


def expected_seconds(given: Assignment) -> Range:
    """How long the plan expects the job to take, s of machine time."""
    return budget(given.job, given.machine, given.technology, given.plan, given.belief.overcut).machine_seconds


def placed_holes(given: Assignment) -> list[PlacedHole]:
    """The plan's holes in drilling order, in the job's own frame."""
    frame = Frame.of(given.machine.work_place)
    return [PlacedHole(hole.index, *frame.to_job((hole.x_mm, hole.y_mm))) for hole in given.plan.holes]
