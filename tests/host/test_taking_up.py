"""A run over the wires whose host dies: the plant lives on behind its boards, and another host takes the run up."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.events import HoleFinished, HoleStarted, RunResumed
from controller.core.standing import standing
from tests.host.virtual import VirtualRun

# The fail-safe gate has let the source go (hold-up 60 ± 20 ms, release 20 ms, electrics.md); and a host takes a while.
GATE_S, AWAY_S = 0.12, 5.0


@pytest.mark.parametrize("convention", ["status", "ack"])
def test_a_host_that_dies_in_mid_hole_leaves_the_machine_safe_and_another_one_ends_the_job(
    convention: str, tmp_path: Path
) -> None:
    run = VirtualRun(tmp_path, convention)
    run.until_phase("erode")
    run.until(lambda: run.wired.plant.truth.erosion.sparks > 100)
    run.alone(GATE_S)
    assert not run.wired.plant.truth.live
    run.alone(AWAY_S)
    assert not run.wired.plant.truth.flow
    before = standing(run.events)
    assert (before.begun, before.finished) == (1, {})
    run.another_host()
    run.to_end()
    ended = run.session.ended
    assert ended is not None
    assert ended.outcome == "complete", ended
    assert [event.hole for event in run.events if isinstance(event, HoleFinished)] == [1]
    assert len([event for event in run.events if isinstance(event, HoleStarted)]) == 2
    assert [event.after for event in run.events if isinstance(event, RunResumed)] == ["broke off"]
    assert [event.time_s for event in run.events] == sorted(event.time_s for event in run.events)
    assert run.wired.plant.truth.holes[1].open
