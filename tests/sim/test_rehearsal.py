"""The rehearsal joins a core and the virtual machine, and adds nothing of its own."""

from __future__ import annotations

from dataclasses import replace
from itertools import cycle

import pytest

from controller.core.controller import Controller
from controller.core.events import ElectrodeMeasured, HoleFinished, HoleStarted, RunEnded
from controller.plan.build import build_plan
from controller.plan.overcut import learn_overcut
from controller.settings.find import packaged_configs
from controller.settings.load import load_job, load_machine, load_technology
from sim.machine import VirtualMachine
from sim.notebook import Notebook
from sim.rehearsal import Core, Rehearsal
from sim.settings import load_plant


def rehearsal(notebook: Notebook, seed: int = 1) -> Rehearsal:
    """The first two holes of the shipped coupon."""
    configs = packaged_configs()
    machine, job = load_machine(configs / "machines" / "virtual.toml"), load_job(configs / "jobs" / "coupon.toml")
    technology = load_technology(configs / "technology" / "tungsten-on-stainless.toml")
    plan = build_plan(job, machine)
    plan = replace(plan, holes=plan.holes[:2])
    core = Controller(machine, job, technology, plan, learn_overcut(technology.overcut_mm, ()))
    return Rehearsal(core, machine, job, plan, load_plant(), seed, notebook)


def go_to_the_end(going: Rehearsal, *lengths: int) -> None:
    """Step in turns of these lengths until it is over."""
    for ticks in cycle(lengths):
        if not going.step(ticks):
            return


@pytest.fixture(scope="module")
def whole() -> Notebook:
    """What one rehearsal tells."""
    notebook = Notebook()
    go_to_the_end(rehearsal(notebook), 10_000)
    return notebook


def test_the_length_of_the_steps_changes_nothing(whole: Notebook) -> None:
    """A screen that looks more often sees the same run."""
    notebook = Notebook()
    go_to_the_end(rehearsal(notebook), 1, 7, 100, 3, 2500, 999)
    assert notebook.events == whole.events
    assert notebook.holes == whole.holes


class Watched:
    """Counts ticks, and how far apart they were."""

    def __init__(self) -> None:
        self.ticks, self.longest_s, self._last_s = 0, 0.0, 0.0

    def __call__(self, _core: Core, virtual: VirtualMachine) -> None:
        """One tick is over."""
        self.ticks += 1
        self.longest_s = max(self.longest_s, virtual.time_s - self._last_s)
        self._last_s = virtual.time_s


def test_idle_stretches_are_jumped_over_and_nothing_else_is(whole: Notebook, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tick by tick it goes the same way, until the water's sums, taken in other pieces, differ in their last digits."""
    jumping, walking, told = Watched(), Watched(), Notebook()
    going = rehearsal(Notebook())
    going.watch = jumping
    go_to_the_end(going, 10_000)
    monkeypatch.setattr("sim.rehearsal.JUMP_S", 0.0)
    going = rehearsal(told)
    going.watch = walking
    go_to_the_end(going, 10_000)
    assert walking.longest_s == pytest.approx(0.01)
    assert jumping.longest_s == pytest.approx(0.5)
    assert jumping.ticks < 0.95 * walking.ticks
    first = next(number for number, event in enumerate(told.events) if isinstance(event, HoleStarted))
    assert [(event.kind, event.time_s) for event in told.events[: first + 1]] == [
        (event.kind, event.time_s) for event in whole.events[: first + 1]
    ]
    assert len(first_holes(told)) == len(first_holes(whole)) == 2


def first_holes(book: Notebook) -> list[str]:
    """How the holes ended."""
    return [event.outcome for event in book.events if isinstance(event, HoleFinished)]


def test_the_run_ends_with_the_cores_own_last_word(whole: Notebook) -> None:
    """One RunEnded, the last event of all."""
    assert [isinstance(event, RunEnded) for event in whole.events].count(True) == 1
    assert isinstance(whole.events[-1], RunEnded)


def test_truths_stand_beside_the_events_they_belong_to(whole: Notebook) -> None:
    """Hole starts, hole ends and measurements have the true tip length of their moment, finished holes their truth."""
    times = {tip.time_s for tip in whole.tips}
    about = [event for event in whole.events if isinstance(event, HoleStarted | HoleFinished | ElectrodeMeasured)]
    assert {event.time_s for event in about} == times
    assert set(whole.holes) == {event.hole for event in about if isinstance(event, HoleFinished)}


def test_the_true_tip_never_grows_by_itself(whole: Notebook) -> None:
    """Without an advance the electrode only wears."""
    lengths = [tip.tip_length_mm for tip in whole.tips]
    assert lengths == sorted(lengths, reverse=True)


def test_a_rehearsal_broken_off_says_so_once() -> None:
    """Ending it twice, or stepping on, adds no second end."""
    notebook = Notebook()
    going = rehearsal(notebook)
    going.step(500)
    going.end("aborted", "enough")
    going.end("aborted", "again")
    assert going.ended == RunEnded(going.time_s, "aborted", "enough")
    assert [event for event in notebook.events if isinstance(event, RunEnded)] == [going.ended]


def test_no_hole_can_be_gauged_before_one_is_through() -> None:
    """Pins pass nothing in a plate that was not touched yet."""
    going = rehearsal(Notebook())
    going.step(10)
    assert going.gauged_diameters_mm() == []
