"""Moving with the source off: referencing, up to the clear height, sideways, down to a start height."""

from __future__ import annotations

from typing import Final

from controller.core.causes import Cause, trip
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
# How far beyond a place the axes go before they come back to it: more than twice the play of soft axes (30 to 50 µm,
# references §6), and as many steps as an `ack` board needs to carry a move out. Chosen.
TAKE_UP_MM: Final = 0.15


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
        yield from _go(rig, Move(seen.x_um, seen.y_um, z_um, _top(rig, 2), urgent=True))


def _lift_clear(rig: Bench, clear_um: float) -> Cycle[None]:
    rig.locks.clear_z_um = clear_um
    if rig.sense.seen.z_um < clear_um - 1.0 and not rig.in_phase(Phase.RETRACT):
        rig.enter(Trigger.WITHDRAW)
    yield from lift(rig, clear_um)
    if rig.in_phase(Phase.RETRACT):
        rig.enter(Trigger.CLEARED)


def travel(rig: Bench, x_mm: float, y_mm: float) -> Cycle[None]:
    """Go to a place at clear height, around or over what stands in the way. Ends in idle above it.

    Both axes arrive moving to smaller figures, wherever they come from, so that their play is always taken up on the
    same side: a place is the same place each time. Raises Trip when no way leads there.
    """
    yield from rise(rig)
    legs = rig.legs(x_mm, y_mm)
    if not legs:
        raise Trip(
            "no way",
            f"the keep-outs leave no way to x {x_mm:.2f}, y {y_mm:.2f} mm, neither around nor over them",
            "move the clamps, or correct the keep-outs of job and machine file",
        )
    tip_um = (rig.electrode.tip_mm + 3.0 * rig.electrode.tip_u_mm) * UM_PER_MM
    rig.locks.keep_clear(rig.standing, tip_um)
    speed_um_s = min(_top(rig, 0), _top(rig, 1))
    z_um = max(rig.sense.seen.z_um, rig.locks.clear_z_um)
    for leg in legs[:-1]:
        z_um = yield from _leg(rig, leg.to[0], leg.to[1], max(z_um, leg.tip_mm * UM_PER_MM + tip_um), speed_um_s)
    beyond_x, beyond_y = (
        min(to_mm + TAKE_UP_MM, most_mm)
        for to_mm, most_mm in zip((x_mm, y_mm), rig.machine.axes.travel_max_mm, strict=False)
    )
    z_um = yield from _leg(rig, beyond_x, beyond_y, max(z_um, legs[-1].tip_mm * UM_PER_MM + tip_um), speed_um_s)
    yield from _leg(rig, x_mm, y_mm, z_um, speed_um_s)


def _leg(rig: Bench, x_mm: float, y_mm: float, z_um: float, speed_um_s: float) -> Cycle[float]:
    """One straight leg, lifted first when it leads over something; returns the height it was made at."""
    yield from lift(rig, min(z_um, rig.top_um))
    z_um = max(rig.sense.seen.z_um, rig.locks.clear_z_um)
    yield from _go(rig, Move(x_mm * UM_PER_MM, y_mm * UM_PER_MM, z_um, speed_um_s))
    return z_um


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
