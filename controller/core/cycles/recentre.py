"""Feeling a finished hole from inside, on the sensing path: is the work where it was, are the axes where they count?

The tip goes into a hole that it made, then sideways until it meets the wall, four times. Halfway between two opposite
contacts is the middle; the shape of the tip does not matter. The rod gives way like a spring meanwhile: 0.1 mm at its
end takes a tenth of a newton (a 1.2 mm rod of tungsten, 45 mm free: 3EI/L³, E = 400 GPa).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.commands import Move
from controller.core.cycles.contacts import OPEN_V, prove, reading_v, release
from controller.core.cycles.touch import descend, slide_here
from controller.core.cycles.travel import TAKE_UP_MM, lower, reference, rise, travel
from controller.core.cycles.wait import drain
from controller.core.events import Recentred
from controller.core.permissions import TOUCH_SPEED_UM_S
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Rig
from controller.core.window import METAL_V
from controller.plan.plan import PlannedHole
from controller.settings.units import UM_PER_MM

# Above the face at which the way at touch speed begins. Chosen: three times what a face may be off its map.
ABOVE_MM: Final = 0.5
# A wall not met within the room between rod and hole and this is not there. Chosen.
BEYOND_UM: Final = 150.0
# What a hole's middle may be off by itself: the overcut is not the same all around. Chosen.
ROUND_UM: Final = 30.0
# From wall to wall it is twice the room beside the rod and the play; less than this share of that room and it is
# pressed to one side. Chosen.
LEAST_SPAN: Final = 0.8
# Metal for so many readings, so that a drop that swings by is none. Chosen.
READINGS: Final = 2
# Smallest move that every board carries out for certain: six steps (wires.md, `ack`); the others need one.
ACK_STEPS: Final = 6

X, Y = 0, 1


def check_place(rig: Rig) -> Cycle[None]:
    """Feel the last and the first finished hole. Raises Trip when the work was moved or steps were lost.

    From idle at a safe height to idle at the clear height; nothing is done while there is no finished hole.
    """
    if not rig.open_holes or not _can_tell(rig):
        return
    first_off, last_off = yield from _both_off(rig)
    off = last_off or first_off
    if not off:
        return
    # Lost steps are made good by referencing: what was made before they were lost fits again, what came after does
    # not. With a work that was moved it is the other way round.
    yield from reference(rig)
    first_off, last_off = yield from _both_off(rig)
    raise trip(Cause.WORK_MOVED if first_off else Cause.STEPS_LOST, off)


def _can_tell(rig: Rig) -> bool:
    """Whether a hole is roomy enough beside its rod for the play of the axes not to look like a work that was moved."""
    x_um, y_um, _ = rig.machine.axes.backlash_um
    return _room_um(rig) > hypot(x_um, y_um) + ROUND_UM


def feel(rig: Rig, numbers: Sequence[int]) -> Cycle[list[int]]:
    """Go into finished holes; those of them that turn out not to be open. From idle to idle at the clear height."""
    shut = []
    for number in numbers:
        hole = _hole(rig, number)
        rig.say(f"Feeling whether hole {number} is open")
        yield from travel(rig, hole.x_mm, hole.y_mm)
        met_mm = yield from _enter(rig, hole)
        if met_mm is not None and met_mm < rig.given.job.work.thickness_mm:
            shut.append(number)
        yield from release(rig)
        rig.enter(Trigger.TOUCHED)
        yield from rise(rig)
    return shut


def _both_off(rig: Rig) -> Cycle[tuple[str, str]]:
    """How the first and the last finished hole are off, in words."""
    first, last = rig.open_holes[0], rig.open_holes[-1]
    last_off = yield from _off_um(rig, last)
    first_off = last_off if first == last else (yield from _off_um(rig, first))
    return first_off, last_off


def _hole(rig: Rig, number: int) -> PlannedHole:
    return next(each for each in rig.given.plan.holes if each.index == number)


def face_off_mm(rig: Rig, hole: PlannedHole) -> Cycle[float]:
    """Touch the face at a hole; how far above its map it is (mm), 0 where it is not met. From idle to idle."""
    if rig.surface is None:
        return 0.0
    yield from travel(rig, hole.x_mm, hole.y_mm)
    expected_mm = rig.surface.at_mm(hole.x_mm, hole.y_mm) + rig.electrode.tip_mm
    rig.enter(Trigger.TOUCH)
    met: float | None = None
    if (yield from prove(rig)) > OPEN_V:
        slide = slide_here(rig)
        deep_um = rig.sense.seen.z_um - (expected_mm - ABOVE_MM) * UM_PER_MM
        if (yield from descend(rig, slide, TOUCH_SPEED_UM_S, deep_um, [])):
            met = rig.sense.seen.z_um / UM_PER_MM
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)
    yield from rise(rig)
    return 0.0 if met is None else met - expected_mm


def _off_um(rig: Rig, number: int) -> Cycle[str]:
    """Feel a hole; in words how it is off, empty when it is where it should be."""
    hole = _hole(rig, number)
    rig.say(f"Feeling hole {number} from inside")
    yield from travel(rig, hole.x_mm, hole.y_mm)
    met_mm = yield from _enter(rig, hole)
    off = ""
    if met_mm is None:
        off = yield from _middle(rig, hole)
    elif met_mm < rig.given.job.work.thickness_mm:
        off = f"the tip does not go into hole {number}"
    else:
        # It went in, so the work is where it was, as far as can be told.
        rig.say(f"Something lies {met_mm - rig.given.job.work.thickness_mm:.2f} mm behind hole {number}")
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)
    yield from rise(rig)
    return off


def _enter(rig: Rig, hole: PlannedHole) -> Cycle[float | None]:
    """Down into the hole on the sensing path, half through and past the worn cone; ends in probe.

    Returns:
        How far below the face it met metal (mm); None when nothing was in the way.
    """
    given, electrode = rig.given, rig.electrode
    if rig.surface is None:
        return None
    face_mm = rig.surface.at_mm(hole.x_mm, hole.y_mm) + electrode.tip_mm
    yield from lower(rig, (face_mm + ABOVE_MM) * UM_PER_MM)
    rig.enter(Trigger.TOUCH)
    if (yield from prove(rig)) <= OPEN_V:
        raise trip(Cause.TOO_WET, f"above hole {hole.index}")
    depth_mm = 0.5 * given.job.work.thickness_mm + min(_cone_most_mm(rig), _past_most_mm(rig))
    slide = slide_here(rig)
    low = 0
    while slide.axis_um < (ABOVE_MM + depth_mm) * UM_PER_MM and low < READINGS:
        yield slide.forward(TOUCH_SPEED_UM_S * rig.tick_s, rig.sense.seen.queued)
        low = low + 1 if rig.sense.seen.samples and rig.sense.pin_v() < METAL_V else 0
    yield from drain(rig)
    if (yield from reading_v(rig)) >= METAL_V:
        return None
    return slide.axis_um / UM_PER_MM - ABOVE_MM


def _middle(rig: Rig, hole: PlannedHole) -> Cycle[str]:
    """Four contacts; tells how far the middle is off, and says so in words when that is too far."""
    axes = rig.given.machine.axes
    seen = rig.sense.seen
    home_um = [seen.x_um, seen.y_um]
    off_um, allowed_um = [0.0, 0.0], 0.0
    for axis in (X, Y):
        step_um = _step_um(rig, axis)
        up_um = yield from _wall(rig, home_um, axis, step_um)
        down_um = yield from _wall(rig, home_um, axis, -step_um)
        if up_um is None or down_um is None:
            return f"no wall was met in hole {hole.index}: it is wider than it can be"
        if up_um - down_um < LEAST_SPAN * _least_room_um(rig):
            return f"the rod is pressed to one side in hole {hole.index}"
        # Away from the origin the face trails behind its motor by the play.
        off_um[axis] = 0.5 * (up_um - axes.backlash_um[axis] + down_um) - home_um[axis]
        allowed_um = max(allowed_um, axes.backlash_um[axis] + 2.0 * step_um + ROUND_UM)
    x_mm, y_mm = off_um[X] / UM_PER_MM, off_um[Y] / UM_PER_MM
    rig.tell(Recentred(rig.now_s, hole.index, x_mm, y_mm, allowed_um / UM_PER_MM))
    if max(abs(off_um[X]), abs(off_um[Y])) <= allowed_um:
        return ""
    return f"hole {hole.index} is {x_mm:+.2f} mm in x and {y_mm:+.2f} mm in y from where it was made"


def _room_um(rig: Rig) -> float:
    """Room beside a rod in the middle of its hole (µm)."""
    job = rig.given.job
    return 0.5 * (job.holes.diameter_mm - job.electrode.diameter_mm) * UM_PER_MM


def _least_room_um(rig: Rig) -> float:
    """The least of it (µm): before a hole of this rod was gauged, the overcut is a guess and may be much smaller."""
    overcut = rig.given.overcut
    return min(_room_um(rig), max(overcut.mean_mm - 2.0 * overcut.u_mm, 0.0) * UM_PER_MM)


def _most_room_um(rig: Rig) -> float:
    """The most of it (µm): the same the other way round."""
    overcut = rig.given.overcut
    return max(_room_um(rig), (overcut.mean_mm + 2.0 * overcut.u_mm) * UM_PER_MM)


def _cone_most_mm(rig: Rig) -> float:
    """How much of the rod's end is thinner than the rod, at the most (mm)."""
    return rig.electrode.cone_mm + 2.0 * rig.electrode.cone_u_mm


def _past_most_mm(rig: Rig) -> float:
    """How far past the middle of the plate the tip may go (mm)."""
    return 0.5 * rig.given.job.work.clear_below_mm


def _missing_um(rig: Rig) -> float:
    """What the rod lacks of its radius in the hole, at the most (µm): nothing, unless its cone is too long to pass."""
    fits = _cone_most_mm(rig) <= _past_most_mm(rig)
    return 0.0 if fits else 0.5 * rig.given.job.electrode.diameter_mm * UM_PER_MM


def _step_um(rig: Rig, axis: int) -> float:
    """The smallest sideways move (µm)."""
    machine = rig.given.machine
    return (ACK_STEPS if machine.motion.convention == "ack" else 1) * UM_PER_MM / machine.axes.steps_per_mm[axis]


def _wall(rig: Rig, home_um: list[float], axis: int, step_um: float) -> Cycle[float | None]:
    """Sideways step by step until metal is sensed, then back to the middle; where that was (µm), None for nowhere."""
    given = rig.given
    most_um = 2.0 * _most_room_um(rig) + _missing_um(rig) + given.machine.axes.backlash_um[axis] + BEYOND_UM
    at_um = list(home_um)
    z_um = (rig.locks.sent or (0.0, 0.0, rig.sense.seen.z_um))[2]
    met: float | None = None
    while met is None and abs(at_um[axis] - home_um[axis]) < most_um:
        at_um[axis] += step_um
        yield (Move(at_um[X], at_um[Y], z_um, TOUCH_SPEED_UM_S),)
        yield from drain(rig)
        if (yield from reading_v(rig)) < METAL_V:
            met = at_um[axis]
    if step_um < 0.0:
        # Home is where the axis arrives moving to smaller figures, as it did after travel: from the other side it would
        # stand off by the play, and lean on the wall when the other axis is felt.
        beyond_um = [*home_um]
        beyond_um[axis] += TAKE_UP_MM * UM_PER_MM
        yield (Move(beyond_um[X], beyond_um[Y], z_um, TOUCH_SPEED_UM_S),)
        yield from drain(rig)
    yield (Move(home_um[X], home_um[Y], z_um, TOUCH_SPEED_UM_S),)
    yield from drain(rig)
    return met
