"""Touching metal with the tip on the sensing path: two speeds, contact confirmed, repeated until the spread is good.

Wet contact and metal contact. Through a film the reading falls smoothly on the way down, 5 V·R/(R + 2.2 kΩ) with R in
proportion to the distance left; metal takes it below 0.1 V. So with y = V/(5 − V), which is proportional to the
distance in water, the readings of a wet descent lie on a line whose zero is the metal. The touch is where the reading
stays below 0.1 V; the line shows how far before the metal that already was (8 µm at 1500 µS/cm under a flat 1.2 mm
rod), and is taken off when it is well determined.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.cycles.contacts import OPEN_V, prove, reading_v, release
from controller.core.cycles.diagnose import why_closed, why_still_metal
from controller.core.cycles.wait import drain, pause
from controller.core.events import Touched
from controller.core.fits import FitError, fit_line
from controller.core.path import Plunge, Slide
from controller.core.permissions import TOUCH_SPEED_UM_S
from controller.core.phases import Trigger
from controller.core.rig import Bench, Cycle, Trip
from controller.core.window import METAL_V
from controller.settings.units import UM_PER_MM

SLOW_UM_S: Final = 80.0  # chosen so that 30 ms of reaction costs no more than one 2.5 µm step of a usual feed axis
BACK_OFF_UM: Final = 100.0  # chosen so that play (30–50 µm) and film drag are left behind between repeats
LIFT_UM_S: Final = 4000.0  # chosen so that a lift is over in a few ticks
SPREAD_UM: Final = 8.0  # chosen so that the mean of two touches is good to a few steps of a usual feed axis
# More than this between two slow touches is dirt and no chance. Chosen: five times what is good.
DIRTY_UM: Final = 40.0
REPEATS_MAX: Final = 6  # chosen: a plate that can't be touched alike in six tries is dirty, and the spread says so
# A reading between metal and this, seen on three steps in a row, is water: well off the open 5 V. Chosen so.
WET_V: Final = 4.0
# Water that passes for metal this far above it is too conductive to touch through. Chosen: twice what is taken off.
TOO_WET_UM: Final = 60.0
# Contact that a way back of this much does not open is no matter of play. Chosen: twice what `check` calls too much.
LETS_GO_UM: Final = 200.0
REFERENCE_PLATE: Final = "the reference plate"  # what is touched, in words


@dataclass(slots=True, frozen=True)
class Contact:
    """Axis height of a confirmed contact (µm), its spread over the repeats (µm), and whether it was wet."""

    z_um: float
    spread_um: float
    wet: bool


def touch_down(rig: Bench, expected_z_um: float, margin_um: float, purpose: str) -> Cycle[Contact]:
    """Touch straight down from here, the metal expected at axis height `expected_z_um` give or take `margin_um`.

    Starts and ends in idle (lifted by the back-off). Raises Trip when the sensing path does not open, or nothing is
    met.
    """
    rig.enter(Trigger.TOUCH)
    open_v = yield from prove(rig)
    if open_v <= OPEN_V:
        yield from release(rig)
        rig.enter(Trigger.TOUCHED)
        raise (yield from why_closed(rig, open_v, f"above {purpose}"))
    slide = slide_here(rig)
    depth_um = rig.sense.seen.z_um - expected_z_um + margin_um
    if not (yield from descend(rig, slide, TOUCH_SPEED_UM_S, depth_um, [])):
        nothing = Cause.NOTHING_AT_PLATE if purpose == REFERENCE_PLATE else Cause.NOTHING_AT_WORK
        raise trip(nothing, f"down to {depth_um / UM_PER_MM:.2f} mm below the start")
    contact = yield from _repeat(rig, slide)
    if purpose == REFERENCE_PLATE and not rig.play_felt:
        yield from _feel_play(rig, slide)
    yield slide.back(BACK_OFF_UM, LIFT_UM_S)
    yield from drain(rig)
    seen = rig.sense.seen
    rig.tell(
        Touched(
            rig.now_s,
            purpose,
            seen.x_um / UM_PER_MM,
            seen.y_um / UM_PER_MM,
            contact.z_um / UM_PER_MM,
            contact.spread_um / UM_PER_MM,
            contact.wet,
        )
    )
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)
    return contact


def feel_down(rig: Bench, z_um: float, purpose: str) -> Cycle[None]:
    """Down to an axis height at touch speed where nothing should be met, on the sensing path; in idle before and after.

    Raises Trip when metal is met: then the place is not what it was taken for.
    """
    rig.enter(Trigger.TOUCH)
    if (yield from prove(rig)) <= OPEN_V:
        raise Trip(
            "sensing path closed",
            f"the sensing path reads contact above {purpose}",
            "look for a bridge, a bent electrode, or water standing on the plate; clean, dry, then go on",
        )
    way = slide_here(rig)
    if (yield from descend(rig, way, TOUCH_SPEED_UM_S, rig.sense.seen.z_um - z_um, [])):
        yield way.back(BACK_OFF_UM, LIFT_UM_S)
        raise Trip(
            f"metal beside {purpose}",
            f"the tip met metal on its way down, with the axis at {rig.sense.seen.z_um / UM_PER_MM:.2f} mm",
            "the plate does not lie where it was said to, or something stands beside it: give a better place",
        )
    yield from drain(rig)
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)


def slide_here(rig: Bench) -> Slide:
    """A slide straight down from where the axis stands."""
    seen, machine = rig.sense.seen, rig.machine
    return Slide(Plunge(seen.x_um, seen.y_um, seen.z_um), rig.play_um, machine.useful_move_um)


def _repeat(rig: Bench, slide: Slide) -> Cycle[Contact]:
    """Slow touches until the last two agree, or the most repeats are done; the median counts."""
    heights: list[float] = []
    wet = False
    while len(heights) < 2 or (abs(heights[-1] - heights[-2]) > SPREAD_UM and len(heights) < REPEATS_MAX):
        height_um, was_wet = yield from touch_again(rig, slide)
        wet = wet or was_wet
        heights.append(height_um)
    spread = max(heights) - min(heights) if len(heights) == 2 else abs(heights[-1] - heights[-2])
    if spread > DIRTY_UM:
        raise trip(Cause.PLATE_DIRTY, f"{len(heights)} touches within {max(heights) - min(heights):.0f} µm")
    return Contact(median(heights[-3:] if len(heights) > 2 else heights), spread, wet)


def _feel_play(rig: Bench, slide: Slide) -> Cycle[None]:
    """Let go of the plate: how far the axis goes for it is what it loses at a reversal, and all retreats rest on it."""
    play_um = yield from let_go(rig, slide)
    if play_um is not None:
        rig.found_play(play_um)


def let_go(rig: Bench, slide: Slide) -> Cycle[float | None]:
    """From a touch back step by step until the contact opens: the play in between (µm); None when it does not open."""
    below_um, step_um = rig.sense.seen.z_um, rig.machine.useful_move_um
    while (yield from reading_v(rig)) < METAL_V:
        if rig.sense.seen.z_um - below_um > LETS_GO_UM:
            return None
        yield slide.back_to(slide.axis_um - step_um, LIFT_UM_S)
        yield from drain(rig)
        yield ()
    # Either side is met up to one step late, half of one in the mean, and in opposite directions.
    return max(rig.sense.seen.z_um - below_um - step_um, 0.0)


def touch_again(rig: Bench, slide: Slide) -> Cycle[tuple[float, bool]]:
    """Back off from a touch and touch once more, slowly: axis height (µm, the water taken off), and was it wet.

    Raises Trip when nothing is met any more.
    """
    yield slide.back(BACK_OFF_UM, LIFT_UM_S)
    yield from drain(rig)
    yield from pause(rig, 0.05)
    if rig.sense.seen.samples and rig.sense.pin_v() < METAL_V:
        where = f"with the tip lifted by {BACK_OFF_UM:.0f} µm"
        raise (yield from why_still_metal(rig, rig.sense.pin_v(), where))
    yield slide.take_up(TOUCH_SPEED_UM_S)
    trace: list[tuple[float, float]] = []
    if not (yield from descend(rig, slide, SLOW_UM_S, slide.axis_um + 4.0 * BACK_OFF_UM, trace)):
        raise trip(Cause.CONTACT_LOST)
    deep_um = too_wet_um(trace)
    if deep_um:
        raise trip(Cause.TOO_WET, f"by its line the metal is {deep_um:.0f} µm below where the water passes for it")
    metal_z_um, was_wet = metal_at_um(trace)
    rig.descent = (trace, metal_z_um)
    return metal_z_um, was_wet


def descend(
    rig: Bench, slide: Slide, speed_um_s: float, depth_um: float, trace: list[tuple[float, float]]
) -> Cycle[bool]:
    """Feed forward until metal is sensed; False at `depth_um` along the slide. Fills `trace` with (height, volts)."""
    feed_um = speed_um_s * rig.tick_s
    while True:
        volts = rig.sense.pin_v()
        if rig.sense.seen.samples:
            trace.append((rig.sense.seen.z_um, volts))
        if rig.sense.seen.samples and volts < METAL_V:
            # Nothing more is sent, and what is queued is a step or two; a halt would cost more time than they do.
            yield from drain(rig)
            slide.halted_at(rig.sense.seen.z_um)
            if (yield from reading_v(rig)) < METAL_V:
                return True
        if slide.axis_um > depth_um:
            return False
        yield slide.forward(feed_um, rig.sense.seen.queued)


def metal_at_um(trace: list[tuple[float, float]]) -> tuple[float, bool]:
    """At what axis height a descent met metal (µm), and whether through water.

    What was on its way when metal was read has taken the axis further by now, so it is not where the axis stands that
    counts: the contact came between the last two looks, or where the water's own line has its zero.

    Args:
        trace: (axis height µm, pin volts) of a slow descent, in order; the last is that of metal.
    """
    offset_um, wet = wet_offset_um(trace)
    if offset_um > 0.0:
        return trace[-1][0] - offset_um, wet
    return 0.5 * (trace[-1][0] + trace[max(len(trace) - 2, 0)][0]), wet


def wet_offset_um(trace: list[tuple[float, float]]) -> tuple[float, bool]:
    """How far above the metal the reading fell below 0.1 V, from the water's own line; and whether there was water.

    Args:
        trace: (axis height µm, pin volts) of a slow descent, in order.
    """
    wet, below = _metal_below(trace)
    if below is None:
        return 0.0, wet
    offset, u = below
    # Only a correction that is plausible and determined is better than none.
    return (offset, True) if 0.0 < offset < 30.0 and u < 5.0 else (0.0, True)


def too_wet_um(trace: list[tuple[float, float]]) -> float:
    """How far below a touch the metal really is, when water conducts so well that it passes for it; 0 when not."""
    below = _metal_below(trace)[1]
    if below is None:
        return 0.0
    offset, u = below
    return offset if offset > TOO_WET_UM and u < 0.25 * offset else 0.0


def _metal_below(trace: list[tuple[float, float]]) -> tuple[bool, tuple[float, float] | None]:
    """Whether a descent went through water; if its line tells, how far below its end the metal is, and how sure."""
    wet = [(z, v / (5.0 - v)) for z, v in trace if METAL_V < v < WET_V]
    if len({z for z, _ in wet}) < 3:
        return False, None
    near = wet[-60:]
    try:
        line = fit_line([z for z, _ in near], [y for _, y in near])
    except FitError:
        return True, None
    # A coned tip in a deep film follows no such line near contact; believe it only where it foretells the threshold.
    if line.slope <= 0.0 or line.at(trace[-1][0]) > 1.5 * METAL_V / (5.0 - METAL_V):
        return True, None
    metal_z = line.x_centre - line.y_centre / line.slope
    return True, (trace[-1][0] - metal_z, line.u_at(metal_z) / line.slope)
