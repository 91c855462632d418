"""Fitting the virtual plant to a recorded run, so that the next rehearsal behaves as this machine did.

Each figure of the run answers mainly to one law of the plant: the time a hole takes to the energy of a discharge, the
length a hole costs to the tool's wear, the overcut to the sparks' reach, shorts to debris bridges; drop-outs are taken
as they were learned. So the same first holes are rehearsed, each law is corrected by how far its figure is off, and
that is repeated a few times. The same seeds are used in every round, so that what changes is the plant and not the
luck; other seeds then say how well it fits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Any, Final

from controller.core.controller import Controller
from controller.core.events import Event, HoleFinished, SourceLearned
from controller.plan.build import build_plan
from controller.plan.overcut import Overcut
from controller.record.journal import RunRecord
from controller.settings.job import Job, Points
from controller.settings.load import load_text
from controller.settings.machine import Machine
from controller.settings.technology import Technology
from controller.settings.units import UM_PER_MM
from sim.notebook import Notebook
from sim.rehearsal import Rehearsal
from sim.settings import PlantSettings

MOST_HOLES: Final = 8
"""Holes of the run that are rehearsed. Chosen so that a fit takes a minute or two; the first cone is formed by then."""

ROUNDS: Final = 4
SEEDS: Final = (101, 102)
"""Rounds of correction and seeds of each. Chosen: a factor of two is made good to some per cent."""

CHECK_SEEDS: Final = (201, 202, 203, 204)
"""Fresh seeds that say how well it fits. Chosen: enough for a mean and a spread."""

STEP_TICKS: Final = 20_000
STEP_MOST: Final = 2.5
"""No law is corrected by more than this factor in a round. Chosen so that one odd rehearsal doesn't run away."""

# Law of the plant, the figure it answers to, and the sign of the answer.
LAWS: Final = (
    ("crater.energy_scale", "seconds of eroding a hole", -1.0),
    ("wear.tool_scale", "mm of electrode a hole", 1.0),
    ("overcut.scale", "mm of overcut", 1.0),
    ("weld.bridge_rate_hz", "shorts a hole", 1.0),
)
LIMITS: Final = {
    "crater.energy_scale": (0.05, 5.5),
    "wear.tool_scale": (0.02, 10.0),
    "overcut.scale": (0.3, 2.5),
    "weld.bridge_rate_hz": (0.02, 20.0),
}

Figures = dict[str, float]
Progress = Callable[[int], None]


class FitRefused(Exception):
    """A run that a plant can't be fitted to; the message says why."""


@dataclass(slots=True, frozen=True)
class Fitted:
    """What came of it.

    Attributes:
        changes: The plant's keys and their new entries.
        recorded: The run's figures.
        before, after: Mean and spread over fresh seeds, with the plant as it was and as it is fitted.
        holes: How many of the run's first holes it rests on.
    """

    changes: dict[str, float]
    recorded: Figures
    before: dict[str, tuple[float, float]]
    after: dict[str, tuple[float, float]]
    holes: int


def rehearsals_needed() -> int:
    """For a progress bar."""
    return ROUNDS * len(SEEDS) + 2 * len(CHECK_SEEDS)


def fit(record: RunRecord, plant: PlantSettings, progress: Progress) -> Fitted:
    """Fit a plant to a run.

    Raises:
        FitRefused: Fewer than three holes of the run went through.
    """
    job, count = _first_holes(record)
    recorded = _recorded(record, count)
    start = load_text(record.start.machine_toml, "the run's machine", Machine)
    technology = load_text(record.start.technology_toml, "the run's technology", Technology)
    believed = Overcut(
        record.start.overcut_mm, record.start.overcut_u_mm, record.start.overcut_scatter_mm, record.start.overcut_n
    )
    done = 0

    def figures(on: PlantSettings, seeds: Sequence[int]) -> list[Figures]:
        nonlocal done
        found = []
        for seed in seeds:
            found.append(_rehearsed(job, start, technology, believed, on, seed))
            done += 1
            progress(done)
        return found

    changes = _drop_outs(record)
    for law, figure, _ in LAWS:
        if recorded.get(figure):
            table, key = law.split(".")
            changes[law] = float(getattr(getattr(plant, table), key))
    for _ in range(ROUNDS):
        mean = _means(figures(changed(plant, changes), SEEDS))
        for law, figure, sign in LAWS:
            if law in changes and mean.get(figure):
                factor = (recorded[figure] / mean[figure]) ** sign
                low, high = LIMITS[law]
                changes[law] = min(max(changes[law] * min(max(factor, 1 / STEP_MOST), STEP_MOST), low), high)
    before = _spreads(figures(plant, CHECK_SEEDS))
    after = _spreads(figures(changed(plant, changes), CHECK_SEEDS))
    return Fitted(changes, recorded, before, after, count)


def changed(plant: PlantSettings, changes: Mapping[str, float]) -> PlantSettings:
    """The plant with entries replaced by dotted key."""
    tables: dict[str, dict[str, Any]] = {}
    for law, entry in changes.items():
        table, key = law.split(".")
        tables.setdefault(table, {})[key] = entry
    return plant.model_copy(
        update={table: getattr(plant, table).model_copy(update=entries) for table, entries in tables.items()}
    )


def _first_holes(record: RunRecord) -> tuple[Job, int]:
    """The run's job with its first holes alone."""
    job = load_text(record.start.job_toml, "the run's job", Job)
    finished = record.finished()
    drilled = [place for place in record.planned if place.hole in finished][:MOST_HOLES]
    through = sum(finished[place.hole].outcome == "through" for place in drilled)
    if through < 3:
        raise FitRefused(f"{through} of the run's first holes went through, three are needed to fit a plant to them")
    pattern = Points(kind="list", at_mm=[(place.x_mm, place.y_mm) for place in drilled])
    holes = job.holes.model_copy(update={"pattern": [pattern], "apart_mm": 0.0})
    return job.model_copy(update={"holes": holes}), len(drilled)


def _figures(events: Sequence[Event], count: int) -> Figures:
    """Figures of the first holes of a run."""
    finished = [event for event in events if isinstance(event, HoleFinished)][:count]
    good = [event for event in finished if event.outcome == "through"]
    if not good:
        return {}
    return {
        "seconds of eroding a hole": fmean(event.erode_s for event in good),
        "mm of electrode a hole": fmean(event.wear_mm for event in good),
        "shorts a hole": fmean(event.shorts for event in finished),
    }


def _recorded(record: RunRecord, count: int) -> Figures:
    figures = _figures(record.events, count)
    gauged = record.gauged_last().values()
    if gauged:
        figures["mm of overcut"] = fmean((each.diameter_mm - each.rod_mm) / 2.0 for each in gauged)
    return figures


def _drop_outs(record: RunRecord) -> dict[str, float]:
    learned = [event for event in record.events if isinstance(event, SourceLearned)]
    if not learned:
        return {}
    last = learned[-1]
    return {
        "source.dropout_rate_hz": last.drop_out_hz,
        "source.dropout_median_ms": last.drop_out_median_s * 1000.0,
    }


def _rehearsed(
    job: Job, machine: Machine, technology: Technology, believed: Overcut, plant: PlantSettings, seed: int
) -> Figures:
    """Rehearse the first holes; their figures."""
    plan = build_plan(job, machine)
    notebook = Notebook()
    core = Controller(machine, job, technology, plan, believed)
    rehearsal = Rehearsal(core, machine, job, plan, plant, seed, notebook)
    while rehearsal.step(STEP_TICKS):
        pass
    figures = _figures(notebook.events, len(plan.holes))
    exits = [hole.exit_diameter_um() / UM_PER_MM for hole in rehearsal.virtual.truth.holes.values()]
    if exits and min(exits) > 0.0:
        figures["mm of overcut"] = (fmean(exits) - job.electrode.diameter_mm) / 2.0
    return figures


def _means(found: Sequence[Figures]) -> Figures:
    return {name: mean for name, mean, _ in _columns(found)}


def _spreads(found: Sequence[Figures]) -> dict[str, tuple[float, float]]:
    return {name: (mean, spread) for name, mean, spread in _columns(found)}


def _columns(found: Sequence[Figures]) -> Iterator[tuple[str, float, float]]:
    for name in dict.fromkeys(name for figures in found for name in figures):
        column = [figures[name] for figures in found if name in figures]
        yield name, fmean(column), stdev(column) if len(column) > 1 else 0.0
