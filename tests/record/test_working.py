"""What a hole keeps the machine at work, from events made up by hand."""

from __future__ import annotations

import pytest

from controller.core.events import Event, HoleFinished, HoleStarted, PromptAnswered, PromptRaised
from controller.plan.budget import AROUND_A_HOLE
from controller.record.working import working_seconds

AROUND_S = AROUND_A_HOLE.expected


def started(time_s: float, hole: int) -> Event:
    return HoleStarted(time_s, hole, 0.0, 0.0, 40.0, 0.01)


def finished(time_s: float, hole: int, erode_s: float) -> Event:
    return HoleFinished(
        time_s, hole, 0.0, 0.0, "through", "", 0.0, time_s, erode_s, 1.5, 0.2, 0.5, 1.5, 0.01, 0, 0
    )  # fmt: skip


def asked(time_s: float, until_s: float) -> list[Event]:
    return [
        PromptRaised(time_s, 1, "advance", "", "", "", ("done",), True, 1),
        PromptAnswered(until_s, 1, "done", ""),
    ]


def test_short_recoveries_and_ways_back_are_work_and_what_is_counted_around_a_hole_is_not() -> None:
    events = [started(10.0, 1), finished(110.0, 1, 40.0), started(120.0, 2), finished(170.0, 2, 44.0)]
    assert working_seconds(events) == pytest.approx({1: 100.0 - AROUND_S, 2: 50.0 - AROUND_S})


def test_it_is_never_less_than_was_eroded() -> None:
    assert working_seconds([started(0.0, 1), finished(31.0, 1, 30.0)]) == {1: 30.0}


def test_the_operator_s_time_is_nobody_s_work() -> None:
    events = [started(0.0, 1), *asked(20.0, 500.0), finished(580.0, 1, 40.0), *asked(600.0, 700.0)]
    assert working_seconds([*events, started(710.0, 2), finished(810.0, 2, 40.0)]) == pytest.approx(
        {1: 100.0 - AROUND_S, 2: 100.0 - AROUND_S}
    )


def test_a_hole_that_another_rod_finishes_counts_whole_and_one_made_again_counts_as_made_last() -> None:
    twice = [started(0.0, 1), started(100.0, 1), finished(160.0, 1, 40.0)]
    assert working_seconds(twice) == pytest.approx({1: 160.0 - AROUND_S})
    again = [*twice, started(200.0, 2), finished(300.0, 2, 40.0), started(400.0, 1), finished(450.0, 1, 30.0)]
    assert working_seconds(again)[1] == pytest.approx(50.0 - AROUND_S)


def test_a_hole_that_is_not_finished_is_none() -> None:
    assert working_seconds([started(0.0, 1)]) == {}
