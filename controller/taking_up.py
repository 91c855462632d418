"""What a run is taken up with: the assignment as it was kept, held against the files as they are now."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from controller.core.electrode import Electrode
from controller.core.standing import Standing, standing
from controller.plan.build import build_plan
from controller.plan.overcut import Overcut
from controller.record.journal import RunRecord, StartRecord
from controller.screen import BadUsage
from controller.settings.calibration import Calibration, calibrated
from controller.settings.job import Job
from controller.settings.load import load_text
from controller.settings.machine import Machine
from controller.settings.technology import Technology
from controller.workshop import Assignment, Belief, versions

# Keys of a machine file that may change between two starts: where the boards are plugged in.
MAY_CHANGE = {"motion.port", "motion.baud", "sampler.port", "sampler.baud"}
ABSENT = "(nothing)"
BELIEF_NUMBERS = len(Electrode(0.0, 1.0, 1.0, 1.0, 1.0, 1.0).belief)


def where_it_stands(record: RunRecord, run: Path) -> Standing:
    """Where a run stands. Raises BadUsage when there is nothing to go on with, or another version has to."""
    if record.stop is not None and record.stop.outcome == "complete":
        raise BadUsage(f"{run}: is complete; there is nothing to go on with")
    stands = standing(record.events)
    wrong = sum(outcome != "through" for outcome in stands.finished.values())
    if len(stands.finished) == len(record.planned) and record.stop is not None:
        raise BadUsage(f"{run}: every hole was drilled, {wrong} of them not through at full size; see report.html")
    if stands.checkpoint is not None and len(stands.checkpoint.belief) != BELIEF_NUMBERS:
        with_what = ", ".join(f"{name} {version}" for name, version in record.start.versions.items())
        raise BadUsage(
            f"{run}: what it believed of the electrode was written by another version ({with_what}); go on with that "
            "one, or start a new run with the holes that are left"
        )
    return stands


def as_it_was(start: StartRecord, machine: Machine | None = None) -> Assignment:
    """The assignment of a run from its start record; `machine` is the same one with other ports.

    Raises:
        SettingsError, PlanRefused: This version does not take these settings any more.
    """
    machine = machine or load_text(start.machine_toml, start.machine, Machine)
    if start.calibration_toml:
        machine = calibrated(machine, load_text(start.calibration_toml, "calibration", Calibration))
    job = load_text(start.job_toml, start.job, Job)
    technology = load_text(start.technology_toml, start.technology, Technology)
    overcut = Overcut(start.overcut_mm, start.overcut_u_mm, start.overcut_scatter_mm, start.overcut_n)
    plan = build_plan(job, machine)
    files = Path(start.job_file), Path(start.machine_file), Path(start.technology)
    return Assignment(*files, job, machine, technology, plan, Belief(overcut, start.overcut_from))


def refuse_changes(start: StartRecord, run: Path) -> Machine:
    """The machine as it is now. Raises BadUsage with everything in which job or machine file have changed.

    A file that is no longer where it was is taken as it was kept.
    """
    problems = [
        *_changes(start.job_file, start.job_toml, frozenset()),
        *_changes(start.machine_file, start.machine_toml, MAY_CHANGE),
    ]
    if problems:
        remedy = "a run goes on as it was begun: put that back, or start a new run"
        raise BadUsage("\n".join([*problems, f"{run}: can't be resumed; {remedy}"]))
    text = _text(start.machine_file)
    return load_text(start.machine_toml if text is None else text, start.machine, Machine)


def refuse_versions(start: StartRecord, run: Path) -> None:
    """A machine put aside is taken up by the versions that put it aside only. Raises BadUsage."""
    changed = [f"{name} {then}" for name, then in start.versions.items() if versions().get(name) != then]
    if changed:
        raise BadUsage(f"{run}: was rehearsed with {', '.join(changed)}; install that, or rehearse anew")


def _text(file: str) -> str | None:
    try:
        return Path(file).read_text(encoding="utf-8") if file else None
    except (OSError, UnicodeDecodeError):
        return None


def _changes(file: str, kept: str, may_change: set[str] | frozenset[str]) -> list[str]:
    """In what a file says something else than it did, key by key."""
    text = _text(file)
    if text is None or text == kept:
        return []
    try:
        now = _flat(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        return [f"{file}: is no valid TOML any more ({error})"]
    was = _flat(tomllib.loads(kept))
    keys = sorted((was.keys() | now.keys()) - may_change)
    return [
        f"{file}: {key}: was {was.get(key, ABSENT)} when the run began, is {now.get(key, ABSENT)} now"
        for key in keys
        if was.get(key, ABSENT) != now.get(key, ABSENT)
    ]


def _flat(table: dict[str, Any], prefix: str = "") -> dict[str, Any]:
    """A table of tables with dotted keys."""
    flat: dict[str, Any] = {}
    for key, entry in table.items():
        if isinstance(entry, dict):
            flat |= _flat(entry, f"{prefix}{key}.")
        else:
            flat[f"{prefix}{key}"] = entry
    return flat
