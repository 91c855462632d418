"""Rehearsals with the truth looked at: one case is one rehearsal (or two), one score what came of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from controller.core.controller import Controller
from controller.core.events import (
    BrokeThrough,
    ElectrodeMeasured,
    Event,
    HoleFinished,
    HoleStarted,
    PromptRaised,
)
from controller.plan.budget import budget
from controller.plan.build import build_plan
from controller.plan.overcut import Gauged, Overcut, learn_overcut
from controller.plan.plan import Plan
from controller.plan.ranges import Range
from controller.record.against_truth import ROUNDING_MM
from controller.record.by_hand import COVERAGE
from controller.settings.find import packaged_configs
from controller.settings.job import Job
from controller.settings.load import load_job, load_machine, load_technology
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.erosion import TrueGapState
from sim.machine import VirtualMachine
from sim.notebook import Notebook
from sim.operator import GAUGING_U_MM
from sim.rehearsal import Core, Rehearsal
from sim.settings import PlantSettings, load_plant
from tests.benchmarks.baseline import BaselineController

# Exits this far below the plant's own full diameter are undersized (what the main job must reach).
UNDERSIZE_MM = 0.03
# Short circuits shorter than this are sparks' own craters touching: no gap signal could show them (one tick at 100 Hz).
LEAST_SHORT_S = 0.01
# Conductivity of the wet-plate case (a film of 500 µS/cm).
WET_US_CM = 500.0
STEP_TICKS = 100_000
# A rehearsal that has not ended after this machine time is stuck (s): several times the longest budget. Chosen so.
LONGEST_S = 150_000.0

Kind = Literal["diffuser", "baseline", "front", "wet", "drawn"]


@dataclass(slots=True, frozen=True)
class Case:
    """One case: what to rehearse, with which seed, front end and number of holes (0 for all)."""

    kind: Kind
    seed: int
    front_end: Literal["clamp", "divider", "biased"] = "clamp"
    holes: int = 0


def _no_seconds() -> defaultdict[tuple[str, str], float]:
    return defaultdict(float)


@dataclass(slots=True)
class Score:
    """What came of a case. Counts; times in s; errors in mm; `gap_s` by (taken for, was)."""

    case: Case
    outcome: str = ""
    reason: str = ""
    holes: int = 0
    finished: int = 0
    full_size: int = 0
    at_size: int = 0
    tips: int = 0
    tips_inside: int = 0
    exits: int = 0
    exits_inside: int = 0
    time_in_budget: bool = False
    electrode_in_budget: bool = False
    machine_s: float = 0.0
    measuring_s: float = 0.0
    electrode_mm: float = 0.0
    blind_called_done: int = 0
    through_unnoticed: int = 0
    through: int = 0
    prompts: int = 0
    rescues: int = 0
    shorts: int = 0
    touch_errors_mm: list[float] = field(default_factory=list)
    gap_s: defaultdict[tuple[str, str], float] = field(default_factory=_no_seconds)


class GapWatch:
    """Holds, tick by tick, what the controller takes the gap for against what it was, while the source is on it."""

    def __init__(self, score: Score, tick_s: float) -> None:
        self._gap_s = score.gap_s
        self._score = score
        self._tick_s = tick_s
        self._short_s = 0.0

    def __call__(self, core: Core, virtual: VirtualMachine) -> None:
        """Look at one tick."""
        truth = virtual.truth
        if not truth.live:
            self._short_s = 0.0
            return
        taken = NAMES[core.gap_state]
        for state, seconds in zip(("open", "sparking", "shorted", "off"), truth.shares_s, strict=True):
            if seconds:
                self._gap_s[taken, state] += seconds
        self._count_shorts(truth.state is TrueGapState.SHORTED)

    def _count_shorts(self, shorted: bool) -> None:
        before_s, self._short_s = self._short_s, self._short_s + self._tick_s if shorted else 0.0
        if before_s < LEAST_SHORT_S <= self._short_s:
            self._score.shorts += 1


# The controller's words for the gap states, in the truth's words.
NAMES = {"open": "open", "sparking": "sparking", "shorted": "shorted", "source off": "off", "off": "off"}


def run_case(case: Case) -> Score:
    """Rehearse a case. Top-level, so that another process can be asked."""
    machine = _machine(case.front_end)
    if case.kind == "wet":
        return _rehearse(case, machine, "coupon", _guess(), _wet_plant())
    if case.kind == "baseline":
        return _rehearse(case, machine, "diffuser", _guess(), load_plant())
    overcut = _guess() if case.kind == "front" else _first_article(machine, case.seed)
    return _rehearse(case, machine, "diffuser", overcut, load_plant())


def _machine(front_end: str) -> Machine:
    machine = load_machine(packaged_configs() / "machines" / "virtual.toml")
    return machine.model_copy(update={"sampler": machine.sampler.model_copy(update={"front_end": front_end})})


def _job(name: str) -> Job:
    return load_job(packaged_configs() / "jobs" / f"{name}.toml")


TECHNOLOGY = load_technology(packaged_configs() / "technology" / "tungsten-on-stainless.toml")


def _guess() -> Overcut:
    return learn_overcut(TECHNOLOGY.overcut_mm, ())


def _wet_plant() -> PlantSettings:
    """Water of the stated conductivity on plates whose film never drains."""
    plant = load_plant()
    water = plant.water.model_copy(update={"conductivity_us_cm": WET_US_CM, "film_s": 1e6})
    return plant.model_copy(update={"water": water})


def _first_article(machine: Machine, seed: int) -> Overcut:
    """Drill the coupon, let the virtual operator gauge it, and take what it teaches to the next plate."""
    job = _job("coupon")
    plan = build_plan(job, machine)
    core = Controller(machine, job, TECHNOLOGY, plan, _guess())
    rehearsal = Rehearsal(core, machine, job, plan, load_plant(), seed, Notebook())
    _to_the_end(rehearsal)
    rod_mm = job.electrode.diameter_mm
    gauged = [Gauged(hole, read_mm, GAUGING_U_MM, rod_mm) for hole, read_mm in rehearsal.gauged_diameters_mm()]
    return learn_overcut(TECHNOLOGY.overcut_mm, gauged).carried()


def _rehearse(case: Case, machine: Machine, job_name: str, overcut: Overcut, plant: PlantSettings) -> Score:
    job = _job(job_name)
    plan = build_plan(job, machine)
    if case.holes:
        plan = replace(plan, holes=plan.holes[: case.holes])
    core: Core = (
        BaselineController(machine, job, plan)
        if case.kind == "baseline"
        else Controller(machine, job, TECHNOLOGY, plan, overcut)
    )
    score, notebook = Score(case, holes=len(plan.holes)), Notebook()
    rehearsal = Rehearsal(
        core, machine, job, plan, plant, case.seed, notebook, watch=GapWatch(score, 1.0 / machine.tick_hz)
    )
    _to_the_end(rehearsal)
    score.outcome = rehearsal.ended.outcome if rehearsal.ended else "stuck"
    score.reason = rehearsal.ended.reason if rehearsal.ended else f"not over after {rehearsal.time_s:.0f} s"
    score.machine_s = rehearsal.time_s
    score_holes(score, job, notebook)
    score_electrode(score, notebook)
    _score_budget(score, job, machine, plan, overcut)
    return score


def _to_the_end(rehearsal: Rehearsal) -> None:
    while rehearsal.step(STEP_TICKS) and rehearsal.time_s < LONGEST_S:
        pass


def score_holes(score: Score, job: Job, notebook: Notebook) -> None:
    """Count what the holes became, by the truth, and the prompts."""
    finished = {event.hole: event for event in notebook.events if isinstance(event, HoleFinished)}
    pierced = {event.hole for event in notebook.events if isinstance(event, BrokeThrough)}
    score.finished = len(finished)
    for number, hole in finished.items():
        truth = notebook.holes[number]
        called = hole.outcome == "through"
        score.full_size += truth.exit_diameter_mm >= truth.full_diameter_mm - UNDERSIZE_MM
        score.at_size += abs(truth.exit_diameter_mm - job.holes.diameter_mm) <= job.holes.tolerance_mm
        score.through += truth.through
        score.blind_called_done += called and not truth.through
        score.through_unnoticed += truth.through and number not in pierced
        if called:
            score.exits += 1
            score.exits_inside += _inside(hole.exit_diameter_mm - truth.exit_diameter_mm, hole.exit_diameter_u_mm)
    prompts = [event for event in notebook.events if isinstance(event, PromptRaised)]
    score.prompts, score.rescues = len(prompts), sum(not prompt.planned for prompt in prompts)


def score_electrode(score: Score, notebook: Notebook) -> None:
    """Compare what was believed of the tip with the truth; add up measuring time and wear."""
    truths = {tip.time_s: tip.tip_length_mm for tip in notebook.tips}
    for event in notebook.events:
        if isinstance(event, ElectrodeMeasured):
            error_mm = event.tip_length_mm - truths[event.time_s]
            score.measuring_s += event.seconds
            score.touch_errors_mm.append(error_mm)
            _score_tip(score, error_mm, event.u_mm)
        elif isinstance(event, HoleStarted):
            _score_tip(score, event.tip_length_mm - truths[event.time_s], event.tip_length_u_mm)
    score.electrode_mm = _true_wear_mm(notebook.events, truths)


def _score_tip(score: Score, error_mm: float, u_mm: float) -> None:
    score.tips += 1
    score.tips_inside += _inside(error_mm, u_mm)


def _true_wear_mm(events: Sequence[Event], truths: dict[float, float]) -> float:
    """What the holes really took off the electrode."""
    begun = {event.hole: truths[event.time_s] for event in events if isinstance(event, HoleStarted)}
    ended = {event.hole: truths[event.time_s] for event in events if isinstance(event, HoleFinished)}
    return sum(begun[hole] - tip_mm for hole, tip_mm in ended.items())


def _score_budget(score: Score, job: Job, machine: Machine, plan: Plan, overcut: Overcut) -> None:
    sums = budget(job, machine, TECHNOLOGY, plan, overcut)
    score.time_in_budget = _in_range(score.machine_s, sums.machine_seconds)
    score.electrode_in_budget = _in_range(score.electrode_mm, sums.electrode_mm)


def _in_range(truth: float, foreseen: Range) -> bool:
    return foreseen.low <= truth <= foreseen.high


def _inside(error_mm: float, u_mm: float) -> bool:
    return abs(error_mm) <= max(COVERAGE * u_mm, ROUNDING_MM)


def touch_errors_um(scores: Sequence[Score]) -> list[float]:
    """Absolute errors of the measurements on a wetted plate: all but each run's first, before any water flowed."""
    return [abs(error_mm) * UM_PER_MM for score in scores for error_mm in score.touch_errors_mm[1:]]
