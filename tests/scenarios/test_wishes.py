"""What the operator may ask for in the middle of a run: to hold, to measure, to leave a hole; and then it goes on."""

from __future__ import annotations

import pytest

from controller.core.events import ElectrodeMeasured, HoleFinished, PhaseChanged, PromptRaised
from controller.core.requests import Answer, MeasureRequest, PauseRequest, SkipRequest
from tests.scenarios.stage import Moment, Stage, after, at, eroding, in_phase
from tests.scenarios.test_whole_jobs import SHORT_OF_FULL_MM, check_orderly

MOMENTS: dict[str, Moment] = {
    "while homing": at(1.0),
    "while touching": in_phase("probe"),
    "on the approach": in_phase("approach"),
    "in mid-hole": eroding(0.15),
    "after breakthrough": eroding(0.6),
    "while freeing a short": in_phase("short-recover"),
    "while leaving a hole": lambda stage: stage.core.phase == "retract" and stage.core.snapshot().hole > 0,
}


@pytest.mark.parametrize("when", MOMENTS)
def test_a_run_that_is_held_stands_safe_and_goes_on_when_told(when: str) -> None:
    # Seed 2 has shorts on the way.
    stage = Stage(seed=2).ask(MOMENTS[when], PauseRequest("a look"))
    while stage.core.waiting is None:
        stage.tick()
        assert stage.ended is None, "the moment never came"
    prompt = stage.core.waiting
    assert prompt.topic == "held"
    assert "a look" in prompt.what_happened
    stage.linger(100.0)
    truth = stage.virtual.truth
    assert (truth.live, truth.sensing_on, truth.flow) == (False, False, False)
    assert truth.tip_mm > truth.surface_mm(*truth.face_mm[:2]) + 1.0
    assert stage.core.phase == "hold"
    stage.ask(at(0.0), Answer(prompt.prompt, "go on")).play()
    assert stage.outcome == "complete", stage.ended
    assert max(stage.short_of_full_mm().values()) <= SHORT_OF_FULL_MM
    assert [hole.hole for hole in stage.finished] == [1, 2]
    assert stage.prompts == [prompt]
    check_orderly(stage)


def test_a_held_run_can_be_ended() -> None:
    stage = Stage().ask(eroding(0.15), PauseRequest("a look")).ask(after(PromptRaised), Answer(1, "end")).play()
    assert stage.outcome == "held"
    check_orderly(stage)


@pytest.mark.parametrize("wish", ["a measurement", "a hold that ends with one"])
def test_the_electrode_is_measured_in_mid_hole_and_the_hole_is_finished(wish: str) -> None:
    stage = Stage()
    if wish == "a measurement":
        stage.ask(eroding(0.15), MeasureRequest())
    else:
        stage.ask(eroding(0.15), PauseRequest("a look")).ask(after(PromptRaised), Answer(1, "measure first"))
    stage.play()
    assert stage.outcome == "complete", stage.ended
    assert max(stage.short_of_full_mm().values()) <= SHORT_OF_FULL_MM
    first = stage.told(HoleFinished)[0]
    inside = [each for each in stage.told(ElectrodeMeasured) if first.start_s < each.time_s < first.time_s]
    assert len(inside) == 1
    check_orderly(stage)


def test_a_skipped_hole_is_left_as_it_is_and_the_next_one_is_made() -> None:
    stage = Stage().ask(eroding(0.15), SkipRequest(1)).play()
    first, second = stage.finished
    assert (first.outcome, first.reason) == ("failed", "skipped by the operator")
    assert second.outcome == "through"
    assert not stage.virtual.truth.holes[1].through
    assert stage.outcome == "held"
    check_orderly(stage)


def test_a_hole_that_is_over_is_let_be() -> None:
    stage = Stage().ask(after(HoleFinished), SkipRequest(1)).play()
    assert [hole.outcome for hole in stage.finished] == ["through", "through"]
    assert stage.outcome == "complete"


def test_what_waits_for_a_safe_moment_is_shown() -> None:
    stage = Stage().ask(at(1.0), PauseRequest("a look")).ask(at(1.0), MeasureRequest())
    while stage.tick().time_s < 2.0:
        pass
    assert stage.core.snapshot().wishes == ("hold", "measure")


def test_a_hold_in_mid_hole_takes_the_tip_out_before_the_source_goes_off() -> None:
    stage = Stage().ask(eroding(0.15), PauseRequest("a look"))
    while stage.core.waiting is None:
        stage.tick()
    assert [change.after for change in stage.told(PhaseChanged)][-3:] == ["retract", "idle", "hold"]
