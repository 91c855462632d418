"""When the rod has to be seen to: worn to a needle that the room below the plate can't take."""

from __future__ import annotations

import pytest

from controller.core.breakthrough import FREE_RUN_UM, ROOM_BELOW_MARGIN_MM
from controller.core.cycles.advance import advance_due, needle_too_long
from controller.core.events import ElectrodeAdvanced, ElectrodeMeasured, Event, HoleStarted, PromptRaised
from controller.core.requests import Answer, Request
from tests.core.crude import CrudeMachine
from tests.core.given import JOB, controller, rig

# The cone passes, then the free run that proves it, and the margin stays.
ROOM_MM = JOB.work.clear_below_mm - ROOM_BELOW_MARGIN_MM - FREE_RUN_UM / 1000.0


@pytest.mark.parametrize(("cone_mm", "expected"), [(0.0, False), (ROOM_MM - 0.05, False), (ROOM_MM + 0.05, True)])
def test_a_needle_is_too_long_when_its_cone_does_not_fit_below_the_plate(cone_mm: float, expected: bool) -> None:
    """The room below is 2.5 mm here; 0.5 mm of it is kept, 0.3 mm is the free run: 1.7 mm are left for the cone."""
    at = rig()
    at.electrode.cone_mm = cone_mm
    assert pytest.approx(1.7) == ROOM_MM
    assert needle_too_long(at) is expected
    assert not advance_due(at)


def needle_job(choice: str) -> tuple[list[Event], CrudeMachine, str, float]:
    """A job begun with a rod worn to a needle: events, machine, outcome, and the cone believed in at the end."""
    core, machine, events, asked = controller(), CrudeMachine(), list[Event](), tuple[Request, ...]()
    core.electrode.cone_mm = ROOM_MM + 0.3
    for _ in range(30_000):
        out = core.tick(machine.observe(), asked)
        machine.carry_out(out.commands)
        events += out.events
        asked = tuple(Answer(event.prompt, choice) for event in out.events if isinstance(event, PromptRaised))
        if core.ended is not None:
            break
    assert core.ended is not None
    return events, machine, core.ended.outcome, core.electrode.cone_mm


def test_a_rod_worn_to_a_needle_is_changed_before_the_next_hole() -> None:
    """The operator is told of the needle and to put a flat rod in; it is measured, and the job goes on."""
    events, _, outcome, cone_mm = needle_job("done")
    told = [event for event in events if isinstance(event, (PromptRaised, ElectrodeMeasured, HoleStarted))]
    first = next(number for number, event in enumerate(told) if isinstance(event, HoleStarted))
    assert [type(event) for event in told[:first]] == [ElectrodeMeasured, PromptRaised, ElectrodeMeasured]
    prompts = [event for event in events if isinstance(event, PromptRaised)]
    assert [prompt.topic for prompt in prompts] == ["electrode-exhausted"]
    assert "worn to a needle" in prompts[0].what_happened
    assert "flat-ended rod" in prompts[0].what_to_do
    assert prompts[0].planned  # it is wear
    assert len([event for event in events if isinstance(event, ElectrodeAdvanced)]) == 1
    assert outcome == "complete"
    assert cone_mm < ROOM_MM


def test_ending_at_the_needle_prompt_holds_the_job_before_any_hole() -> None:
    """`end` is an answer too: no hole is begun with a rod that can't finish it, and nothing stays on."""
    events, machine, outcome, _ = needle_job("end")
    assert outcome == "held"
    assert [event for event in events if isinstance(event, HoleStarted)] == []
    assert not any(machine.on.values())
