"""Rehearsals beside each other: what each took, and what they say of finishing without anybody."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from controller.core.events import ElectrodeAdvanced, ElectrodeMeasured, HoleFinished, PromptRaised
from controller.executor import executor
from controller.record.working import working_seconds
from controller.screen import HoleProgressBar
from controller.workshop import Assignment, controller_for
from sim.notebook import Notebook
from sim.rehearsal import Rehearsal
from sim.settings import PlantSettings, load_plant

# Ticks between two looks at whether a rehearsal is over: chosen large, since nothing else happens there.
STEP_TICKS = 100_000


@dataclass(slots=True, frozen=True)
class Trial:
    """What one rehearsal took; lengths in mm, times in s of machine time.

    `calls` are the prompts that nobody planned: a stuck electrode, a hole that won't open. Planned advances are not.
    """

    seed: int
    outcome: str
    machine_s: float
    work_s: float
    electrode_mm: float
    measurements: int
    advances: int
    calls: int = 0


@dataclass(slots=True, frozen=True)
class Chance:
    """A chance as so many of so many trials show it: its mean and the limits that hold 95 %, 0..1."""

    low: float
    expected: float
    high: float


def rehearse_beside(given: Assignment, count: int, cluster: str | None, *, quiet: bool) -> list[Trial]:
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
    prompts = [event for event in notebook.events if isinstance(event, PromptRaised)]
    return Trial(
        seed,
        rehearsal.ended.outcome if rehearsal.ended else "",
        rehearsal.time_s,
        sum(working_seconds(notebook.events).values()),
        sum(hole.wear_mm for hole in finished),
        sum(isinstance(event, ElectrodeMeasured) for event in notebook.events),
        sum(isinstance(event, ElectrodeAdvanced) for event in notebook.events),
        sum(not prompt.planned for prompt in prompts),
    )


def chance(trials: Sequence[Trial]) -> Chance:
    """The chance that a run like these completes with nobody called but for planned advances.

    Beta posterior on Jeffreys' prior, Beta(1/2, 1/2): the usual reference choice for a proportion (Brown, Cai &
    DasGupta 2001, Statistical Science 16, 101-133; memory).
    """
    from scipy.stats import beta  # noqa: PLC0415 (a second, and 60 MB, for every other command)

    good = sum(trial.outcome == "complete" and trial.calls == 0 for trial in trials)
    a, b = good + 0.5, len(trials) - good + 0.5
    low, high = beta.ppf((0.025, 0.975), a, b)
    return Chance(float(low), a / (a + b), float(high))
