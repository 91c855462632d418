"""Touching a wet reference plate: water must not be taken for metal."""

from __future__ import annotations

from collections.abc import Callable
from math import hypot
from statistics import median

import pytest

from controller.core.commands import Output, Switch
from controller.core.cycles.drill import Drilling
from controller.core.cycles.measure import map_surface, measure
from controller.core.cycles.travel import reference
from controller.core.cycles.wait import pause
from controller.core.events import ElectrodeMeasured, RunEnded, SurfaceMapped, Touched
from controller.core.rig import Cycle, Rig
from controller.settings.units import UM_PER_MM
from sim.machine import VirtualMachine
from sim.plates import Film
from tests.scenarios.stage import Changes, Stage

# The reach asked of touches on a wet plate: 20 µm in 99 %, in a film at 500 µS/cm.
WET: Changes = {"water": {"conductivity_us_cm": 500.0}}
ERROR_MM, SHARE = 0.020, 0.99
TOUCHES, DRY_TOUCHES = 60, 7


def touches(drilled: int) -> Callable[[Rig, VirtualMachine], Cycle[RunEnded]]:
    """A cycle: measure on the dry plate, then again and again on a plate that the jet has just run over."""

    def cycle(rig: Rig, virtual: VirtualMachine) -> Cycle[RunEnded]:
        yield from reference(rig)
        yield from measure(rig)
        if drilled:
            yield from map_surface(rig)
            for hole in rig.given.plan.holes[:drilled]:
                yield from Drilling(rig, hole).run()
        readings = virtual._readings
        wet, readings.film = readings.film, Film(0.0, 0.0, 1.0, 0.0, 1.0)
        for _ in range(DRY_TOUCHES):
            yield from measure(rig)
        readings.film = wet
        for _ in range(TOUCHES):
            virtual.carry_out([Switch(Output.WATER, True)])
            yield from pause(rig, 1.0)
            virtual.carry_out([Switch(Output.WATER, False)])
            yield from pause(rig, 1.0)
            yield from measure(rig)
        return RunEnded(rig.now_s, "complete", "")

    return cycle


@pytest.mark.parametrize(("drilled", "seed"), [(0, 1), (2, 2)], ids=["flat tip", "worn tip"])
def test_sixty_touches_on_a_wet_plate_find_the_metal_that_a_dry_touch_finds(drilled: int, seed: int) -> None:
    stage = Stage(plant_keys=WET, seed=seed).instead(touches(drilled)).play()
    measured = [event.tip_length_mm for event in stage.told(ElectrodeMeasured)]
    wet, dry = measured[-TOUCHES:], measured[-TOUCHES - DRY_TOUCHES : -TOUCHES]
    off = [abs(each - median(dry)) for each in wet]
    assert sum(each <= ERROR_MM for each in off) >= SHARE * TOUCHES, f"worst {max(off):.3f} mm"
    assert any(touch.wet for touch in stage.told(Touched))
    assert stage.virtual.truth.crashes == 0


def test_touches_on_a_wet_plate_find_the_true_length_where_the_plate_stands_as_stated() -> None:
    keys: Changes = {**WET, "axes": {"homing_repeat_um": 0.0}}
    stage = Stage(plant_keys=keys, machine_keys={"reference_plate": {"height_u_mm": 0.0}}, seed=3)
    stage.instead(touches(0)).play()
    true_mm = stage.virtual.truth.tip_length_mm
    off = [abs(event.tip_length_mm - true_mm) for event in stage.told(ElectrodeMeasured)[-TOUCHES:]]
    assert sum(each <= ERROR_MM for each in off) >= SHARE * TOUCHES, f"worst {max(off):.3f} mm"


def test_a_face_as_high_as_it_may_be_and_tilted_is_touched_and_not_run_into() -> None:
    """Its middle three standard uncertainties above what is stated, and 3 mm of tilt over 100 mm beside that."""
    stage = Stage(plant_keys={"plate": {"tilt_mm": 3.0}}, seed=3)
    place, points = stage.machine.work_place, stage.job.work.touch_points_mm
    middle_mm = [place.origin_mm[axis] + sum(point[axis] for point in points) / len(points) for axis in (0, 1)]
    high_mm = stage.virtual.truth.surface_mm(*middle_mm) - place.surface_height_mm
    stage.virtual.lift_work(UM_PER_MM * (3.0 * place.surface_height_u_mm - high_mm))

    def cycle(rig: Rig, _virtual: VirtualMachine) -> Cycle[RunEnded]:
        yield from reference(rig)
        yield from measure(rig)
        yield from map_surface(rig)
        return RunEnded(rig.now_s, "complete", "")

    stage.instead(cycle).play()
    (mapped,) = stage.told(SurfaceMapped)
    assert stage.outcome == "complete"
    assert stage.virtual.truth.crashes == 0
    assert 100.0 * hypot(mapped.b, mapped.c) == pytest.approx(3.0, rel=0.05)
