"""Down a hole that was begun before, on the sensing path: back to a front that is known, or to wherever it is."""

from __future__ import annotations

from typing import Final

from controller.core.cycles.contacts import OPEN_V, prove, release
from controller.core.cycles.recover import RETREAT_UM_S
from controller.core.cycles.wait import drain, pause
from controller.core.path import Slide
from controller.core.permissions import TOUCH_SPEED_UM_S
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Rig

# On the way down a used hole the sensing path is asked for metal, not for open: water stands in it. Chosen between
# metal (below 0.1 V) and a wet gap (0.97 V at 500 µS/cm, electrics.md).
METAL_NEAR_V: Final = 0.5
LOOK_S: Final = 0.1  # for the axis to stand and a reading to follow: ten ticks; chosen


def return_to_front(rig: Rig, slide: Slide, above_um: float, back_um: float) -> Cycle[None]:
    """From idle to idle: down to `above_um` (arc length) or to metal, then back up by `back_um`.

    Where the path does not read open then, water stands between tip and front: it is lifted, twice as far each time,
    at most to the start height. To wait until it has run off takes half a minute, and in a blind hole for ever.
    """
    rig.enter(Trigger.TOUCH)
    yield from prove(rig)
    yield from _down(rig, slide, above_um)
    yield slide.back(back_um, RETREAT_UM_S)
    yield from pause(rig, LOOK_S)
    while rig.sense.pin_v() <= OPEN_V and slide.axis_um > 0.0:
        yield slide.back(back_um, RETREAT_UM_S, no_further_um=0.0)
        yield from pause(rig, LOOK_S)
        back_um *= 2.0
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)


def find_front(rig: Rig, slide: Slide, end_um: float) -> Cycle[float | None]:
    """From idle to idle: down to metal, and back to the start height.

    Returns:
        Arc length at which it met metal (or began, where contact was read before it moved); None when the way was free
        to `end_um`.
    """
    rig.enter(Trigger.TOUCH)
    if (yield from prove(rig)) > OPEN_V:
        yield from _down(rig, slide, end_um)
    yield from drain(rig)
    front_um = None if slide.axis_um >= end_um else slide.tip_um
    yield slide.back_to(0.0, RETREAT_UM_S)
    yield from drain(rig)
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)
    return front_um


def _down(rig: Rig, slide: Slide, end_um: float) -> Cycle[None]:
    while slide.axis_um < end_um and rig.sense.pin_v() > METAL_NEAR_V:
        yield slide.forward(TOUCH_SPEED_UM_S * rig.tick_s, rig.sense.seen.queued)
