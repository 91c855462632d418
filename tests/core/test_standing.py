"""Where a run stands, from its events alone."""

from __future__ import annotations

from controller.core.events import (
    Checkpoint,
    ElectrodeAdvanced,
    Event,
    HoleDoubted,
    HoleFinished,
    HoleStarted,
    PromptAnswered,
    PromptRaised,
    RunEnded,
    Said,
    SourceOpenedHot,
)
from controller.core.standing import BROKE_OFF, standing


def started(hole: int) -> Event:
    return HoleStarted(1.0, hole, 0.0, 0.0, 45.0, 0.01)


def made(hole: int, outcome: str = "through") -> Event:
    return HoleFinished(2.0, hole, 0.0, 0.0, outcome, "", 1.0, 1.0, 1.0, 1.0, 0.1, 0.0, 1.5, 0.01, 0, 0)


def test_a_run_of_which_nothing_is_known_stands_at_its_beginning() -> None:
    stands = standing([])
    assert (stands.after, stands.finished, stands.begun, stands.checkpoint, stands.time_s) == (
        BROKE_OFF,
        {},
        0,
        None,
        0.0,
    )


def test_finished_holes_the_begun_one_and_how_it_ended() -> None:
    stands = standing(
        [started(1), made(1), started(4), made(4, "undersize"), started(2), RunEnded(9.0, "fault", "why")]
    )
    assert stands.finished == {1: "through", 4: "undersize"}
    assert stands.through == [1]
    assert (stands.begun, stands.after, stands.time_s) == (2, "fault", 9.0)


def test_a_run_taken_up_and_broken_off_again_has_no_end() -> None:
    assert standing([RunEnded(9.0, "held", "why"), Said(10.0, "on")]).after == BROKE_OFF


def test_a_doubted_hole_is_begun_and_not_finished() -> None:
    stands = standing([started(1), made(1), HoleDoubted(3.0, 1, "shut")])
    assert (stands.finished, stands.begun) == ({}, 1)


def test_hands_count_until_the_electrode_is_known_again() -> None:
    asked = PromptRaised(1.0, 3, "advance", "", "", "", ("done",), planned=True)
    assert standing([asked, PromptAnswered(2.0, 3, "done", "")]).hands == "advance"
    assert standing([asked, Checkpoint(3.0, (1.0,), 0.0)]).hands == ""
    assert standing([asked]).prompts == 3


def test_counts_go_on() -> None:
    stands = standing([ElectrodeAdvanced(1.0, 45.0, 100.0, 2), SourceOpenedHot(2.0, 5, "stop")])
    assert (stands.advances, stands.hot_openings) == (2, 5)
