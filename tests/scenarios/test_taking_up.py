"""A run that broke off is taken up on the same plant: nothing is believed of where things are, all of what was made."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import pytest

from controller.core.events import (
    BrokeThrough,
    Event,
    FaultTripped,
    HoleFinished,
    HoleStarted,
    PromptRaised,
    Recentred,
    RunEnded,
    RunResumed,
)
from controller.core.standing import standing
from controller.workshop import controller_for
from sim.aside import PutAside
from sim.machine import VirtualMachine
from sim.notebook import Notebook
from sim.rehearsal import Rehearsal
from sim.settings import load_plant
from tests.campaign.drill import small_job

EventT = TypeVar("EventT", bound=Event)
GIVEN = small_job()


def rehearsal(book: Notebook, aside: PutAside | None = None) -> Rehearsal:
    before = standing(book.events) if aside is not None else None
    core = controller_for(GIVEN, before)
    return Rehearsal(core, GIVEN.machine, GIVEN.job, GIVEN.plan, load_plant(None), 4, book, aside=aside)


class Broken:
    """A run that breaks off when something is true; then the plant is left alone, and taken up again."""

    def __init__(self, when: Callable[[Rehearsal], bool]) -> None:
        self.book = Notebook()
        self.first = rehearsal(self.book)
        while not when(self.first):
            assert self.first.step(1)
        self.at = len(self.book.events)

    def taken_up(self, meanwhile: Callable[[VirtualMachine], None] = lambda _plant: None) -> Broken:
        first = self.first
        first.virtual.left_alone(30.0)
        meanwhile(first.virtual)
        second = rehearsal(self.book, PutAside(first.virtual, first.operator, first.injector))
        while second.step(1000):
            assert second.time_s < 4000.0
        return self

    def told(self, kind: type[EventT]) -> list[EventT]:
        """What was told of a kind after it was taken up."""
        return [event for event in self.book.events[self.at :] if isinstance(event, kind)]

    @property
    def ended(self) -> RunEnded:
        return self.told(RunEnded)[-1]


def finished(run: Rehearsal) -> int:
    return sum(isinstance(event, HoleFinished) for event in run._sink.events)  # type: ignore[attr-defined]


def in_hole_two(depth_um: float) -> Callable[[Rehearsal], bool]:
    def deep(run: Rehearsal) -> bool:
        holes = run.virtual.truth.holes
        return finished(run) == 1 and 2 in holes and holes[2].deepest_um > depth_um

    return deep


def through_hole_two(run: Rehearsal) -> bool:
    holes = run.virtual.truth.holes
    return 2 in holes and holes[2].through and finished(run) == 1


@pytest.mark.parametrize("when", [in_hole_two(150.0), through_hole_two], ids=["in mid-hole", "after breakthrough"])
def test_every_hole_is_made_exactly_once_and_the_begun_one_is_felt_for_its_front(
    when: Callable[[Rehearsal], bool],
) -> None:
    run = Broken(when).taken_up()
    assert run.ended.outcome == "complete"
    assert [(event.after, event.finished, event.begun) for event in run.told(RunResumed)] == [("broke off", 1, 2)]
    assert sorted(event.hole for event in run.book.events if isinstance(event, HoleFinished)) == [1, 2, 3]
    assert [event.hole for event in run.told(HoleStarted)] == [2, 3]
    assert all(hole.open for hole in run.first.virtual.truth.holes.values())
    assert run.first.virtual.truth.crashes == 0


def test_a_hole_that_broke_off_when_it_was_made_but_not_told_is_found_through_by_touch() -> None:
    """Everything but its record was there."""

    def made_not_told(run: Rehearsal) -> bool:
        return finished(run) == 2

    run = Broken(made_not_told)
    run.book.events = [e for e in run.book.events if not (isinstance(e, HoleFinished) and e.hole == 2)]
    while not isinstance(run.book.events[-1], HoleStarted):
        run.book.events.pop()
    run.at = len(run.book.events)
    run.taken_up()
    assert run.ended.outcome == "complete"
    assert run.told(BrokeThrough)[0].cause == "found through by touch, begun before"
    assert sorted(event.hole for event in run.book.events if isinstance(event, HoleFinished)) == [1, 2, 3]


def test_a_finished_hole_is_felt_from_inside_before_anything_is_drilled() -> None:
    run = Broken(in_hole_two(100.0)).taken_up()
    felt, began = run.told(Recentred)[0], run.told(HoleStarted)[0]
    assert felt.hole == 1
    assert felt.time_s < began.time_s
    assert max(abs(felt.off_x_mm), abs(felt.off_y_mm)) <= felt.allowed_mm


def test_a_work_that_was_moved_meanwhile_is_refused_by_name_and_nothing_is_drilled() -> None:
    run = Broken(in_hole_two(100.0)).taken_up(lambda plant: plant.move_work(180.0, -60.0))
    assert run.ended.outcome == "fault"
    assert [event.cause for event in run.told(FaultTripped)] == ["work moved"]
    assert run.told(HoleStarted) == []


def test_a_work_that_was_raised_meanwhile_is_refused_by_name() -> None:
    run = Broken(in_hole_two(100.0)).taken_up(lambda plant: plant.lift_work(1200.0))
    assert [event.cause for event in run.told(FaultTripped)] == ["work moved"]
    assert run.told(HoleStarted) == []


def test_an_electrode_that_was_swapped_meanwhile_is_noticed_without_running_into_the_plate() -> None:
    """Longer by more than any slip: the whole way down is made at touch speed."""
    run = Broken(in_hole_two(100.0)).taken_up(lambda plant: plant.shorten_electrode(-9000.0, flat=True))
    assert run.told(PromptRaised)[0].topic == "electrode-changed"
    assert "longer" in run.told(PromptRaised)[0].what_happened
    assert run.ended.outcome == "complete"
    assert run.first.virtual.truth.crashes == 0


def test_a_run_can_break_off_before_anything_was_measured() -> None:
    run = Broken(lambda first: first.time_s > 5.0).taken_up()
    assert run.ended.outcome == "complete"
