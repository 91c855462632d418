"""`summary.json`: a run in some thirty numbers, and the one sentence that says how it went."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import fmean

from controller.core.events import (
    ElectrodeAdvanced,
    ElectrodeMeasured,
    Event,
    PromptRaised,
    SourceOpenedHot,
)
from controller.record.files import write_whole
from controller.record.journal import RunRecord

# What a run without a stop record is called: it crashed, was killed, or still goes on.
UNFINISHED = "unfinished"


@dataclass(slots=True, frozen=True)
class Summary:
    """A run in numbers. Times in seconds, lengths in mm.

    `holes_failed` counts every finished hole that is not through at full size, `holes_undersize` those of them that are
    open but undersize; `measure_seconds` counts from leaving the hole to being back.
    """

    job: str
    machine: str
    technology: str
    seed: int | None
    rehearsed: bool
    outcome: str
    reason: str
    holes_total: int
    holes_through: int
    holes_undersize: int
    holes_failed: int
    machine_seconds: float
    wall_seconds: float
    erode_seconds: float
    measure_seconds: float
    measurements: int
    electrode_advances: int
    electrode_used_mm: float
    shorts: int
    recoveries: int
    operator_prompts: int
    operator_rescues: int
    hot_openings: int
    exit_diameter_mean_mm: float | None
    exit_diameter_least_mm: float | None
    exit_diameter_largest_mm: float | None
    overcut_mm: float
    overcut_u_mm: float

    def sentence(self) -> str:
        """How it went, in one line."""
        holes = f"{self.holes_through} of {self.holes_total} holes through and at full size by estimate"
        helped = _help_wanted(self.operator_prompts, self.operator_rescues)
        told = (
            f"{self.outcome.capitalize()}: {holes}, in {spoken_time(self.machine_seconds)} of machine time; {helped}."
        )
        return told if self.outcome == "complete" else f"{told} {self.reason}".rstrip()


def summarise(record: RunRecord) -> Summary:
    """The summary of a run, from its journal alone."""
    start, stop, events = record.start, record.stop, record.events
    finished = record.finished().values()
    outcomes = [hole.outcome for hole in finished]
    exits = [hole.exit_diameter_mm for hole in finished if hole.outcome == "through"]
    measured = [event for event in events if isinstance(event, ElectrodeMeasured)]
    prompts = [event for event in events if isinstance(event, PromptRaised)]
    return Summary(
        job=start.job,
        machine=start.machine,
        technology=start.technology,
        seed=start.seed,
        rehearsed=start.rehearsed,
        outcome=stop.outcome if stop else UNFINISHED,
        reason=stop.reason
        if stop
        else "The journal has no stop record: the run crashed, was killed, or still goes on.",
        holes_total=len(record.planned),
        holes_through=outcomes.count("through"),
        holes_undersize=outcomes.count("undersize"),
        holes_failed=len(outcomes) - outcomes.count("through"),
        machine_seconds=round(stop.machine_s if stop else _last_time(events), 3),
        wall_seconds=round(record.wall_s, 3),
        erode_seconds=round(sum(hole.erode_s for hole in finished), 3),
        measure_seconds=round(sum(event.seconds for event in measured), 3),
        measurements=len(measured),
        electrode_advances=_count(events, ElectrodeAdvanced),
        electrode_used_mm=round(sum(hole.wear_mm for hole in finished), 4),
        shorts=sum(hole.shorts for hole in finished),
        recoveries=sum(hole.recoveries for hole in finished),
        operator_prompts=len(prompts),
        operator_rescues=sum(not prompt.planned for prompt in prompts),
        hot_openings=_count(events, SourceOpenedHot),
        exit_diameter_mean_mm=round(fmean(exits), 4) if exits else None,
        exit_diameter_least_mm=round(min(exits), 4) if exits else None,
        exit_diameter_largest_mm=round(max(exits), 4) if exits else None,
        overcut_mm=round(start.overcut_mm, 5),
        overcut_u_mm=round(start.overcut_u_mm, 5),
    )


def summary_json(summary: Summary) -> str:
    """The summary as the text of `summary.json`."""
    return json.dumps(asdict(summary), indent=2) + "\n"


def write_summary(run: Path, summary: Summary) -> None:
    """Write `summary.json` into the folder of the run."""
    write_whole(run / "summary.json", summary_json(summary))


def spoken_time(seconds: float) -> str:
    """A time for people: the two largest units, `4 h 12 min`, `3 min 05 s`, `42 s`."""
    whole = round(seconds)
    if whole >= 3600:
        return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
    if whole >= 60:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole} s"


def clock_time(seconds: float) -> str:
    """Machine time as h:mm:ss."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"


def holes_words(summary: Summary) -> str:
    """How the holes came out, in words."""
    undersize = f" ({summary.holes_undersize} undersize)" if summary.holes_failed else ""
    left = summary.holes_total - summary.holes_through - summary.holes_failed
    not_drilled = f", {left} not drilled" if left else ""
    return f"{summary.holes_through} through, {summary.holes_failed} failed{undersize}{not_drilled}"


def _help_wanted(prompts: int, rescues: int) -> str:
    if prompts == 0:
        return "no operator needed"
    if rescues == 0:
        return f"operator needed {times(prompts)}, as planned"
    unplanned = "not planned" if rescues == prompts else f"{rescues} of them not planned"
    return f"operator needed {times(prompts)}, {unplanned}"


def times(count: int) -> str:
    """`once`, `twice`, `3 times`."""
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")


def _count(events: tuple[Event, ...], shape: type[Event]) -> int:
    return sum(isinstance(event, shape) for event in events)


def _last_time(events: tuple[Event, ...]) -> float:
    return events[-1].time_s if events else 0.0
