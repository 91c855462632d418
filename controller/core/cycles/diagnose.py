"""Why the sensing path reads contact where none should be: looked at from the top of the travel."""

from __future__ import annotations

from controller.core.causes import Cause, Trip, trip
from controller.core.cycles.contacts import OPEN_V, prove, release
from controller.core.cycles.travel import rise_to_top
from controller.core.phases import Trigger
from controller.core.rig import Bench, Cycle
from controller.core.window import METAL_V


def why_still_metal(rig: Bench, volts: float, where: str) -> Cycle[Trip]:
    """What is to be told of a tip that still reads metal once it was lifted off; in probe, with the feed on.

    What opens further up is water that conducts like metal; what does not is a wire.
    """
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)
    why = yield from why_closed(rig, volts, where)
    return trip(Cause.TOO_WET, f"{volts:.2f} V {where}") if why.cause == Cause.SENSING_CLOSED else why


def why_closed(rig: Bench, volts: float, where: str) -> Cycle[Trip]:
    """What is to be told of a reading of so many volts `where`; raises nothing. From idle to idle at the top.

    Water reads between metal and open. Metal that is still there at the top of the travel, where nothing can be
    touched, is no metal but a wire.
    """
    if volts >= METAL_V:
        return trip(Cause.TOO_WET, f"{volts:.2f} V {where}")
    yield from rise_to_top(rig)
    rig.enter(Trigger.TOUCH)
    top_v = yield from prove(rig)
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)
    if top_v < METAL_V:
        return trip(Cause.SENSING_DEAD, f"{top_v:.2f} V at the top of the travel")
    if top_v <= OPEN_V:
        return trip(Cause.TOO_WET, f"{top_v:.2f} V at the top of the travel")
    return trip(Cause.SENSING_CLOSED, where)
