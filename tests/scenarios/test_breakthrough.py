"""Through or not: a blind hole is never called through, an open one never missed, an undersize one says so."""

from __future__ import annotations

import pytest

from controller.core.events import BrokeThrough, PromptRaised
from tests.scenarios.stage import Stage
from tests.scenarios.test_whole_jobs import SHORT_OF_FULL_MM, check_orderly


@pytest.mark.parametrize("true_mm", [1.2, 1.6, 2.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_plate_thicker_than_the_job_says_is_never_called_through_before_it_is(true_mm: float, seed: int) -> None:
    """The room below is too small to get through, so that every hole stays blind."""
    stage = Stage(holes=1, true_thickness_mm=true_mm, job={"work": {"clear_below_mm": 1.0}}, seed=seed).play()
    (hole,) = stage.finished
    assert not stage.virtual.truth.holes[1].through
    assert hole.outcome != "through"
    assert hole.reason
    assert stage.outcome == "held"
    check_orderly(stage)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_plate_thicker_than_the_job_says_is_drilled_through_where_there_is_room(seed: int) -> None:
    stage = Stage(holes=1, true_thickness_mm=0.9, seed=seed).play()
    assert [hole.outcome for hole in stage.finished] == ["through"]
    assert stage.short_of_full_mm()[1] <= SHORT_OF_FULL_MM
    check_orderly(stage)


@pytest.mark.parametrize("true_mm", [0.3, 0.4])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_plate_thinner_than_the_job_says_is_noticed_to_be_open(true_mm: float, seed: int) -> None:
    stage = Stage(true_thickness_mm=true_mm, seed=seed).play()
    assert stage.outcome == "complete"
    assert max(stage.short_of_full_mm().values()) <= SHORT_OF_FULL_MM
    # Not by going on until the room below is used up: half of the room is more than any cone and free run.
    assert max(hole.depth_mm for hole in stage.finished) < 0.5 + 3.0
    check_orderly(stage)


def test_a_breakthrough_is_told_before_the_hole_is_at_size() -> None:
    """The needle pierces first; feeding on brings the full diameter through."""
    stage = Stage().play()
    for told, hole in zip(stage.told(BrokeThrough), stage.finished, strict=True):
        assert told.hole == hole.hole
        assert told.time_s < hole.start_s + hole.seconds
        assert told.feed_mm < hole.depth_mm


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_too_little_room_below_makes_a_hole_undersize_with_the_reason_and_an_honest_estimate(seed: int) -> None:
    """The cone of a 1 mm plate's hole is longer than the room, so the tip is out and the full diameter is not."""
    stage = Stage(job={"work": {"thickness_mm": 1.0, "clear_below_mm": 0.6}}, seed=seed).play()
    assert stage.outcome == "held"
    assert "2 of 2 holes" in stage.ended.reason if stage.ended else False
    for hole in stage.finished:
        assert hole.outcome == "undersize"
        assert "room below" in hole.reason
        true_mm = stage.exit_mm(hole.hole)
        assert true_mm < stage.full_mm() - SHORT_OF_FULL_MM
        # Inside the expanded uncertainty (k = 2) that it states of itself, which is no wider than the rod.
        assert hole.exit_diameter_mm == pytest.approx(true_mm, abs=2.0 * hole.exit_diameter_u_mm)
        assert hole.exit_diameter_u_mm < 0.5 * stage.job.electrode.diameter_mm
    check_orderly(stage)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_needle_too_long_for_the_room_is_changed_and_the_hole_it_left_undersize_is_finished(seed: int) -> None:
    """A rod that wears fast soon has a cone longer than the room: a planned change of rod, and every hole at size."""
    stage = Stage(
        holes=6,
        job={"work": {"thickness_mm": 1.0, "clear_below_mm": 2.2}},
        plant_keys={"wear": {"volumetric_ratio": 0.4}},
        seed=seed,
    ).play()
    prompts = stage.told(PromptRaised)
    assert prompts
    assert all("needle" in prompt.what_happened and prompt.planned for prompt in prompts)
    assert [hole.hole for hole in stage.finished] == [1, 2, 3, 4, 5, 6]
    assert {hole.outcome for hole in stage.finished} == {"through"}
    assert max(stage.short_of_full_mm().values()) <= SHORT_OF_FULL_MM
    check_orderly(stage)
