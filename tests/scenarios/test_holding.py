"""A hold that a person asks for: from wherever the run stands it ends cold, out of the hole and safe."""

from __future__ import annotations

import pytest

from controller.core.events import PhaseChanged, SourceOpenedHot
from controller.core.requests import HoldRequest
from tests.scenarios.stage import Moment, Stage, at, eroding, in_phase
from tests.scenarios.test_whole_jobs import check_orderly

MOMENTS: dict[str, Moment] = {
    "while homing": at(1.0),
    "while touching": in_phase("probe"),
    "on the approach": in_phase("approach"),
    "in mid-hole": eroding(0.15),
    "while freeing a short": in_phase("short-recover"),
    "while leaving a hole": lambda stage: stage.core.phase == "retract" and stage.core.snapshot().hole > 0,
}
# Out of the hole, the gap open, everything off: chosen so that a lift at top speed, the longest drop-out (0.4 s,
# electrics.md) and a source's own shut-off after a short fit in.
WITHIN_S = 20.0


@pytest.mark.parametrize("when", MOMENTS)
def test_a_hold_asked_for_ends_the_run_cold_and_safe(when: str) -> None:
    # Seed 2 has shorts on the way.
    stage = Stage(seed=2, holes=3)
    asked_s: list[float] = []
    moment = MOMENTS[when]

    def now(stage: Stage) -> bool:
        true = moment(stage)
        if true:
            asked_s.append(stage.seen.time_s)
        return true

    stage.ask(now, HoldRequest("the operator wants a look")).play()
    assert asked_s, "the moment never came"
    assert stage.outcome == "held"
    assert stage.ended is not None
    assert stage.ended.reason == "the operator wants a look"
    assert stage.core.phase == "hold"
    assert stage.ended.time_s - asked_s[0] < WITHIN_S
    assert stage.told(SourceOpenedHot) == []
    stage.linger(5.0)
    truth = stage.virtual.truth
    assert (truth.live, truth.sensing_on, truth.flow) == (False, False, False)
    check_orderly(stage)


def test_a_hold_in_mid_hole_takes_the_tip_out_before_the_source_goes_off() -> None:
    stage = Stage().ask(eroding(0.15), HoldRequest("a look")).play()
    x_mm, y_mm, _ = stage.virtual.truth.face_mm
    assert stage.virtual.truth.tip_mm > stage.virtual.truth.surface_mm(x_mm, y_mm) + 1.0
    assert [change.after for change in stage.told(PhaseChanged)][-3:] == ["retract", "idle", "hold"]
