"""Moving with the source off: referencing, up to the clear height, sideways, down to a start height."""

from __future__ import annotations

from typing import Final

from controller.core.causes import Cause, trip
from controller.core.commands import Home, Move
from controller.core.cycles.wait import drain, until
from controller.core.observation import BoardState
from controller.core.phases import Phase, Trigger
from controller.core.rig import Bench, Cycle
from controller.settings.units import UM_PER_MM

# Longest time for homing: the longest axis at a slow 5 mm/s (common practice, no source) is well inside this.
HOME_TIMEOUT_S: Final = 180.0


def reference(rig: Bench) -> Cycle[None]:
    """Home all axes. Raises Trip when the board doesn't report them referenced in time."""
    rig.say("Referencing the axes")
    yield (Home(),)
    yield ()
    seen = rig.sense

    def referenced() -> bool:
        return seen.seen.homed and seen.seen.board is BoardState.READY and not seen.seen.queued

    if not (yield from until(rig, referenced, HOME_TIMEOUT_S)):
        raise trip(Cause.HOMING_FAILED)


def rise(rig: Bench) -> Cycle[None]:
    """Lift to the clear height in retract, from wherever the tip stands; ends in idle."""
    yield from _lift_clear(rig, rig.clear_z_um())


def rise_to_top(rig: Bench) -> Cycle[None]:
    """Lift as high as the axis goes, where a longer electrode has room; ends in idle."""
    yield from _lift_clear(rig, rig.top_um)


def lift(rig: Bench, z_um: float) -> Cycle[None]:
    """Straight up to a height at top speed, in a phase that permits it; nothing when it is reached already."""
    seen = rig.sense.seen
    if seen.z_um < z_um - 1.0:  # less than a step is no way
        yield (Move(seen.x_um, seen.y_um, z_um, _top(rig, 2), urgent=True),)
        yield from drain(rig)


def _lift_clear(rig: Bench, clear_um: float) -> Cycle[None]:
    rig.locks.clear_z_um = clear_um
    if rig.sense.seen.z_um < clear_um - 1.0 and not rig.in_phase(Phase.RETRACT):
        rig.enter(Trigger.WITHDRAW)
    yield from lift(rig, clear_um)
    if rig.in_phase(Phase.RETRACT):
        rig.enter(Trigger.CLEARED)


def travel(rig: Bench, x_mm: float, y_mm: float) -> Cycle[None]:
    """Go to a place at clear height. Ends in idle above it."""
    yield from rise(rig)
    z_um = max(rig.sense.seen.z_um, rig.locks.clear_z_um)
    yield (Move(x_mm * UM_PER_MM, y_mm * UM_PER_MM, z_um, min(_top(rig, 0), _top(rig, 1))),)
    yield from drain(rig)


def lower(rig: Bench, z_um: float) -> Cycle[None]:
    """Jog straight down to a height that is known to be free, source off; in idle."""
    seen = rig.sense.seen
    if z_um < seen.z_um:
        yield (Move(seen.x_um, seen.y_um, z_um, _top(rig, 2)),)
        yield from drain(rig)


def _top(rig: Bench, axis: int) -> float:
    return rig.machine.axes.top_speed_mm_s[axis] * UM_PER_MM
