"""Shorts and welds: the ladder frees what can be freed, and what can't is named and waits for the operator, safe."""

from __future__ import annotations

import pytest

from controller.core.commands import Turn
from controller.core.events import HoleFinished, ShortBegan, ShortEnded
from sim.machine import VirtualMachine
from tests.scenarios.stage import Changes, Stage, eroding
from tests.scenarios.test_whole_jobs import SHORT_OF_FULL_MM

# Every contact that is held for a moment welds; what holds is the usual strength.
WELDS: Changes = {"weld": {"rate_scale": 50.0}}
# No contact welds by itself; the one that the scenario makes is torn off by no lift within the ladder.
STRONG: Changes = {"weld": {"rate_scale": 0.0, "strength_um": 50_000.0}}


def weld(virtual: VirtualMachine) -> None:
    """The tip welds to the work now, with the plant's mean strength."""
    bond = virtual.truth.erosion._weld
    bond.held, bond._face_um, bond._strength_um = True, virtual._axes.face_z_um, bond._plant.strength_um


def welded_stage(strength: Changes, *, operator: bool = True, spindle: bool = False, seed: int = 1) -> Stage:
    keys = {"spindle": {"fitted": True}} if spindle else None
    stage = Stage(plant_keys=strength, operator=operator, machine_keys=keys, seed=seed)
    stage.do(eroding(0.15), lambda: weld(stage.virtual))
    return stage.play()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_plant_that_welds_easily_frees_itself_by_the_ladder(seed: int) -> None:
    stage = Stage(plant_keys=WELDS, holes=3, seed=seed)
    stage.do(eroding(0.15), lambda: weld(stage.virtual))
    stage.play()
    assert stage.outcome == "complete"
    assert max(stage.short_of_full_mm().values()) <= SHORT_OF_FULL_MM
    assert stage.prompts == []
    assert len(stage.told(ShortBegan)) == len(stage.told(ShortEnded)) > 0
    assert stage.monitor.breaches == []


def test_a_weld_that_no_lift_tears_off_is_named_and_the_operator_frees_it() -> None:
    stage = welded_stage(STRONG)
    assert stage.outcome == "complete"
    (prompt,) = [asked for asked in stage.prompts if not asked.planned]
    assert prompt.topic == "electrode-stuck"
    assert "welded" in prompt.what_happened
    assert prompt.hole == 1
    assert "isolator" in prompt.what_to_do
    assert stage.told(ShortEnded)[0].rung == 5
    assert [hole.outcome for hole in stage.told(HoleFinished)] == ["through", "through"]
    assert max(stage.short_of_full_mm().values()) <= SHORT_OF_FULL_MM
    assert stage.monitor.breaches == []


def test_after_the_operator_freed_the_electrode_it_is_measured_before_it_erodes_again() -> None:
    stage = welded_stage(STRONG)
    kinds = [event.kind for event in stage.events]
    answered = kinds.index("PromptAnswered")
    ignites = [n for n, event in enumerate(stage.events) if getattr(event, "trigger", "") == "ignite"]
    measured = kinds.index("ElectrodeMeasured", answered)
    assert answered < measured < min(n for n in ignites if n > answered)


def test_without_an_operator_a_weld_ends_held_at_the_prompt_isolated() -> None:
    stage = welded_stage(STRONG, operator=False)
    assert stage.outcome == "waiting"
    assert stage.core.phase == "hold"
    assert stage.prompts[-1].topic == "electrode-stuck"
    stage.linger(120.0)
    assert stage.core.phase == "hold"
    truth = stage.virtual.truth
    assert (truth.live, truth.sensing_on, truth.flow) == (False, False, False)
    assert stage.monitor.breaches == []


def test_a_weld_is_isolated_before_ten_seconds_are_over() -> None:
    """Live with no removal at most 10 s (interfaces.md)."""
    stage = Stage(plant_keys=STRONG, operator=False)
    welded_s: list[float] = []
    stage.do(eroding(0.15), lambda: weld(stage.virtual))
    stage.do(lambda s: s.virtual.truth.erosion.welded, lambda: welded_s.append(stage.seen.time_s))
    stage.play()
    assert stage.contact_closed_s[-1] - welded_s[0] < 10.0


def test_a_spindle_turns_a_weld_free_without_the_operator() -> None:
    stage = welded_stage(STRONG, spindle=True)
    assert stage.outcome == "complete"
    assert stage.prompts == []
    assert any(isinstance(command, Turn) and command.rev_min for _, command in stage.sent)
    # Turning twists a weld off within a second or so: before the ladder has to lead to the operator.
    assert max(ended.rung for ended in stage.told(ShortEnded)) <= 4
    assert max(stage.short_of_full_mm().values()) <= SHORT_OF_FULL_MM


def test_a_short_is_answered_by_a_retreat_within_half_a_second() -> None:
    """Chosen: a drop-out lasts up to 0.4 s (electrics.md), and it must not cost a retreat each time."""
    stage = Stage(plant_keys=WELDS)
    welded_s: list[float] = []
    stage.do(eroding(0.15), lambda: weld(stage.virtual))
    stage.do(lambda s: s.virtual.truth.erosion.welded, lambda: welded_s.append(stage.seen.time_s))
    stage.play()
    began = next(event for event in stage.told(ShortBegan) if event.time_s >= welded_s[0])
    assert began.time_s - welded_s[0] < 0.5
