"""The ladder in a closed loop: what was no short, what a small retreat ends, what is tried before hands are asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import pytest

from controller.core.cycles.drill import GIVE_WAY_UM
from controller.core.cycles.recover import PULL_UM, SMALL_UM
from controller.core.events import (
    DROP_OUT,
    Event,
    HoleFinished,
    PhaseChanged,
    PromptRaised,
    Said,
    ShortBegan,
    ShortEnded,
)
from controller.core.observation import Observation
from controller.core.requests import Answer, Request
from tests.core.crude import CrudeMachine
from tests.core.given import MACHINE, controller

EventT = TypeVar("EventT", bound=Event)
Upset = Callable[[CrudeMachine, Observation], None]


@dataclass
class Told:
    """The events of a job, and where the feed axis stood (µm) in the tick of each."""

    events: list[Event] = field(default_factory=list)
    z_um: list[float] = field(default_factory=list)

    def of(self, kind: type[EventT]) -> list[EventT]:
        """The events of a kind."""
        return [event for event in self.events if isinstance(event, kind)]

    def heights_um(self, kind: type[Event]) -> list[float]:
        """Where the axis stood at each event of a kind."""
        return [z_um for event, z_um in zip(self.events, self.z_um, strict=True) if isinstance(event, kind)]


def nothing(machine: CrudeMachine, seen: Observation) -> None:
    """No upset."""


def job(machine: CrudeMachine, upset: Upset = nothing, after_ticks: int = 60) -> Told:
    """A whole job; once it has eroded for some ticks the upset comes. At a prompt the operator frees the electrode."""
    core, told, asked, eroded = controller(), Told(), tuple[Request, ...](), 0
    for _ in range(30_000):
        seen = machine.observe()
        eroded += core.phase.value == "erode"
        if eroded == after_ticks:
            eroded += 1
            upset(machine, seen)
        out = core.tick(seen, asked)
        machine.carry_out(out.commands)
        told.events += out.events
        told.z_um += [seen.z_um] * len(out.events)
        asked = ()
        for event in out.events:
            if isinstance(event, PromptRaised):
                machine.free()
                asked = (Answer(event.prompt, event.choices[0]),)
        if core.ended is not None:
            break
    assert core.ended is not None
    return told


def drop_out(ticks: int) -> Upset:
    """The source is away for so long, whatever the tip does."""

    def upset(machine: CrudeMachine, seen: Observation) -> None:
        machine.away_ticks = ticks

    return upset


def contact(lift_um: float) -> Upset:
    """Contact, until the axis was lifted by so much."""

    def upset(machine: CrudeMachine, seen: Observation) -> None:
        machine.stuck, machine.tears_z_um = True, seen.z_um + lift_um

    return upset


@pytest.mark.parametrize("ticks", [20, 30, 38])
def test_a_drop_out_that_a_retreat_was_spent_on_is_no_short(ticks: int) -> None:
    """It ends long after the retreat, so the retreat was no answer: told as a drop-out, counted as no short."""
    plain, upset = job(CrudeMachine()), job(CrudeMachine(), drop_out(ticks))
    assert [event.cause for event in upset.of(ShortEnded)] == [DROP_OUT]
    assert [(hole.outcome, hole.shorts, hole.recoveries) for hole in upset.of(HoleFinished)] == [("through", 0, 0)] * 2
    for dropped, undisturbed in zip(upset.of(HoleFinished), plain.of(HoleFinished), strict=True):
        assert dropped.depth_mm == pytest.approx(undisturbed.depth_mm, abs=0.1)


@pytest.mark.parametrize("ticks", [15, 20, 30])
def test_a_drop_out_costs_a_small_retreat_at_most(ticks: int) -> None:
    """Over while the first rung still waits: the axis has gone back by the small retreat, no further."""
    told = job(CrudeMachine(), drop_out(ticks))
    began, ended = told.heights_um(ShortBegan), told.heights_um(ShortEnded)
    lifted_um = [end - begin for begin, end in zip(began, ended, strict=True)]
    assert [event.rung for event in told.of(ShortEnded)] == [1]
    assert lifted_um == pytest.approx([SMALL_UM], abs=1.0)  # the play was gone back when the tip gave way


@pytest.mark.parametrize("ticks", [3, 8, 12])
def test_a_short_drop_out_costs_no_retreat(ticks: int) -> None:
    """It is over before a short is probable enough to be answered."""
    told = job(CrudeMachine(), drop_out(ticks))
    assert (told.of(ShortBegan), [hole.shorts for hole in told.of(HoleFinished)]) == ([], [0, 0])


@pytest.mark.parametrize("lift_um", [0.5 * GIVE_WAY_UM, 0.9 * GIVE_WAY_UM])
def test_a_touch_is_let_go_without_the_ladder(lift_um: float) -> None:
    """The tip gives way as soon as a low is longer than any pause, and that ends it."""
    machine = CrudeMachine()
    told = job(machine, contact(lift_um + MACHINE.axes.backlash_um[2]))
    assert not machine.stuck or machine.tears_z_um < machine.at[2]
    assert (told.of(ShortBegan), [hole.shorts for hole in told.of(HoleFinished)]) == ([], [0, 0])


def test_a_contact_that_the_small_retreat_ends_is_a_short() -> None:
    """It ends with the retreat: a touch, counted, and nobody is asked."""
    told = job(CrudeMachine(), contact(GIVE_WAY_UM + 0.5 * SMALL_UM + MACHINE.axes.backlash_um[2]))
    assert [(event.rung, event.cause) for event in told.of(ShortEnded)] == [(1, "touch")]
    assert [hole.shorts for hole in told.of(HoleFinished)] == [1, 0]
    assert told.of(PromptRaised) == []


def test_a_weld_that_tears_above_the_start_height_needs_nobody() -> None:
    """Out of the hole it still holds; pulled on toward the clear height it tears: the third rung, no prompt."""
    told = job(CrudeMachine(), contact(3000.0))
    assert "Still in contact: pulling up to the clear height" in [event.text for event in told.of(Said)]
    assert [event.rung for event in told.of(ShortEnded)] == [3]
    assert told.of(PromptRaised) == []
    assert [hole.outcome for hole in told.of(HoleFinished)] == ["through", "through"]


def test_the_pull_ends_where_the_weld_tears() -> None:
    """Not at the clear height, seconds later: what is gone up is to be gone down again."""
    told = job(CrudeMachine(), contact(3000.0))
    (began_um,), (ended_um,) = told.heights_um(ShortBegan), told.heights_um(ShortEnded)
    assert 3000.0 < ended_um - began_um < 3000.0 + 2.0 * PULL_UM


@pytest.mark.parametrize("film_um", [0.0, 150.0, 600.0])
def test_water_that_stands_before_the_front_is_lifted_off_and_not_waited_for(film_um: float) -> None:
    """Out of the hole and back in, the sensing path reads wet near the front, for ever: it goes on within seconds."""
    machine = CrudeMachine()
    machine.film_um = film_um
    told = job(machine, contact(3000.0), after_ticks=400)
    (ended,) = told.of(ShortEnded)
    ignited_s = [
        event.time_s for event in told.of(PhaseChanged) if event.after == "erode" and event.time_s > ended.time_s
    ]
    assert ended.rung == 3
    assert ignited_s[0] - ended.time_s < 5.0
    assert told.of(PromptRaised) == []
    assert [hole.outcome for hole in told.of(HoleFinished)] == ["through", "through"]


def test_nobody_is_asked_before_the_electrode_was_pulled_up_to_the_clear_height() -> None:
    """A weld that never tears: at the prompt the tip stands above the work by the clear height, not in the hole."""
    machine = CrudeMachine()
    over_um = machine.face_um + machine.tip_um + MACHINE.work_place.clear_height_mm * 1000.0
    told = job(machine, contact(1e9))
    assert [event.topic for event in told.of(PromptRaised)] == ["electrode-stuck"]
    assert over_um < told.heights_um(PromptRaised)[0] < over_um + 1000.0
    assert [event.rung for event in told.of(ShortEnded)] == [5]
    assert [hole.outcome for hole in told.of(HoleFinished)] == ["through", "through"]


def test_every_short_that_began_ends() -> None:
    """Whatever it was taken for in the end, the record has both ends of it."""
    for upset in (drop_out(30), contact(80.0), contact(3000.0)):
        told = job(CrudeMachine(), upset)
        assert len(told.of(ShortBegan)) == len(told.of(ShortEnded)) == 1
