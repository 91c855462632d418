"""Moving with the source off: referencing, up to the clear height, sideways, down to a start height."""

from __future__ import annotations

from typing import Final

from controller.core.commands import Home, Move
from controller.core.cycles.wait import drain, until
from controller.core.observation import BoardState
from controller.core.phases import Phase, Trigger
from controller.core.rig import Bench, Cycle, Trip
from controller.settings.units import UM_PER_MM

# Longest time for homing: the longest axis at a slow 5 mm/s (common practice, no source) is well inside this.
HOME_TIMEOUT_S: Final = 180.0
# How far from its end a move may stop (µm): an `ack` board leaves six steps to the next move (wires.md), 75 µm at 80
# steps/mm. A move that was refused or cut short is commanded again, so many times. Both chosen.
ARRIVED_UM: Final = 100.0
TRIES: Final = 3


def reference(rig: Bench) -> Cycle[None]:
    """Home all axes. Raises Trip when the board doesn't report them referenced in time."""
    rig.say("Referencing the axes")
    yield (Home(),)
    yield ()
    seen = rig.sense

    def referenced() -> bool:
        return seen.seen.homed and seen.seen.board is BoardState.READY and not seen.seen.queued

    if not (yield from until(rig, referenced, HOME_TIMEOUT_S)):
        raise Trip(
            "homing failed", "the axes were not referenced in time", "look at the end switches, then start again"
        )


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
        yield from _go(rig, Move(seen.x_um, seen.y_um, z_um, _top(rig, 2), urgent=True))


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
    yield from _go(rig, Move(x_mm * UM_PER_MM, y_mm * UM_PER_MM, z_um, min(_top(rig, 0), _top(rig, 1))))


def lower(rig: Bench, z_um: float) -> Cycle[None]:
    """Jog straight down to a height that is known to be free, source off; in idle."""
    seen = rig.sense.seen
    if z_um < seen.z_um:
        yield from _go(rig, Move(seen.x_um, seen.y_um, z_um, _top(rig, 2)))


def _go(rig: Bench, move: Move) -> Cycle[None]:
    """Make a move and see that it was made: a line that was spoilt on the wire is refused, and the axes stop short.

    Raises Trip when they do not get there.
    """
    for _ in range(TRIES):
        yield (move,)
        yield from drain(rig)
        seen = rig.sense.seen
        off_um = max(abs(seen.x_um - move.x_um), abs(seen.y_um - move.y_um), abs(seen.z_um - move.z_um))
        if off_um <= ARRIVED_UM:
            return
    raise Trip(
        "move not made",
        f"the axes stopped {off_um / UM_PER_MM:.2f} mm from where they were sent, {TRIES} times",
        "look in the record for what the motion board refused, and at its cable",
    )


def _top(rig: Bench, axis: int) -> float:
    return rig.machine.axes.top_speed_mm_s[axis] * UM_PER_MM
