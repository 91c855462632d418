"""Finding the reference plate by touching: where its middle is, how high it lies, how level.

It is touched where it is believed to be, then further and further out along each axis until nothing is met any more, as
little below its face as a plate can slope; halving between the last touch that met it and the first that did not finds
its rim. Both rims of an axis are widened alike by the rod's own end, so the middle is not.

The host knows heights only together with the tip's length: one of the two has to come from outside, and here it is the
length, measured with a caliper. What it is off is the same for plate and work, and cancels in every hole.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.cycles.contacts import OPEN_V, prove, release
from controller.core.cycles.diagnose import why_closed
from controller.core.cycles.measure import BESIDE_MM, HOMING_U_MM, TOUCH_U_MM
from controller.core.cycles.touch import REFERENCE_PLATE, descend, slide_here, touch_down
from controller.core.cycles.travel import lower, rise, travel
from controller.core.cycles.wait import drip
from controller.core.found import PLAY_U_MM
from controller.core.permissions import TOUCH_SPEED_UM_S
from controller.core.phases import Trigger
from controller.core.rig import Bench, Cycle
from controller.settings.job import Point
from controller.settings.units import UM_PER_MM

# From touch to touch on the way out, how far a plate may reach from where it is believed to be, and how finely its rim
# is looked for. Chosen: any plate that holds the three places of a measurement is wider than two of the first.
STEP_MM: Final = 2.0
REACH_MM: Final = 40.0
RIM_MM: Final = 0.1
# Room above a face whose height was just touched, and how far below it metal is looked for. Chosen: over the reach, the
# slope of a plate that was laid by eye (1 %).
ABOVE_MM: Final = 0.6
BELOW_MM: Final = 0.4
# How far above or below the machine file's figure it may lie, beside what is not known of rod and plate. Chosen.
MARGIN_MM: Final = 2.0


@dataclass(slots=True, frozen=True)
class About:
    """What is known beforehand: roughly where the plate is (machine mm), and the tip's length with its uncertainty."""

    near_mm: Point
    tip_mm: float
    tip_u_mm: float


@dataclass(slots=True, frozen=True)
class FoundPlate:
    """The reference plate as touched.

    Attributes:
        x_mm, y_mm: Its middle; `u_mm` the standard uncertainty of either.
        wide_mm: Over which way it was met along x and y, the rod's own end included.
        height_mm: Of its face at the middle; `u_height_mm`, the tip's length in it.
        level_mm: Range of three touches some millimetres apart.
        wet: Water was there.
    """

    x_mm: float
    y_mm: float
    u_mm: float
    wide_mm: tuple[float, float]
    height_mm: float
    u_height_mm: float
    level_mm: float
    wet: bool


def locate_reference(bench: Bench, about: About) -> Cycle[FoundPlate]:
    """Touch the plate all over; axes referenced before, in idle at the clear height afterwards.

    Raises Trip where it is believed to be and nothing is met, and when no rim is found within reach.
    """
    bench.electrode.renewed(about.tip_mm, about.tip_u_mm)
    x_mm, y_mm = about.near_mm
    expected_mm = bench.machine.reference_plate.height_mm + about.tip_mm
    margin_mm = 3.0 * hypot(about.tip_u_mm, bench.machine.reference_plate.height_u_mm) + MARGIN_MM
    bench.say("Touching the reference plate where it should be")
    yield from travel(bench, x_mm, y_mm)
    yield from drip(bench)
    axis_mm = yield from _met(bench, (x_mm, y_mm), expected_mm, margin_mm, margin_mm)
    if axis_mm is None:
        raise trip(Cause.NOTHING_AT_PLATE, f"{margin_mm:.1f} mm above and below {expected_mm:.1f} mm of axis height")
    x_mm, wide_x_mm = yield from _middle(bench, (x_mm, y_mm), 0, axis_mm)
    y_mm, wide_y_mm = yield from _middle(bench, (x_mm, y_mm), 1, axis_mm)
    heights, spreads, wet = [], [], False
    for place in ((x_mm, y_mm), (x_mm + BESIDE_MM, y_mm), (x_mm, y_mm + BESIDE_MM)):
        bench.say("Touching the middle of the reference plate")
        yield from travel(bench, *place)
        yield from lower(bench, (axis_mm + ABOVE_MM) * UM_PER_MM)
        contact = yield from touch_down(bench, axis_mm * UM_PER_MM, MARGIN_MM * UM_PER_MM, REFERENCE_PLATE)
        heights.append(contact.z_um / UM_PER_MM - about.tip_mm)
        spreads.append(contact.spread_um / UM_PER_MM)
        wet = wet or contact.wet
        yield from rise(bench)
    u_touch_mm = hypot(TOUCH_U_MM, HOMING_U_MM, fmean(spreads) / 2.0)
    return FoundPlate(
        x_mm,
        y_mm,
        # Each rim lies evenly within the last halving, the middle is the mean of two; the axes' play is in both alike.
        hypot(RIM_MM / sqrt(24.0), PLAY_U_MM),
        (wide_x_mm, wide_y_mm),
        heights[0],
        hypot(u_touch_mm, about.tip_u_mm),
        max(heights) - min(heights),
        wet,
    )


def _middle(bench: Bench, at: Point, axis: int, axis_mm: float) -> Cycle[tuple[float, float]]:
    """The middle between the two rims along an axis (0 x, 1 y), and how far apart they are."""
    low = yield from _rim(bench, at, axis, -1.0, axis_mm)
    high = yield from _rim(bench, at, axis, 1.0, axis_mm)
    return at[axis] + 0.5 * (low + high), high - low


def _rim(bench: Bench, at: Point, axis: int, sign: float, axis_mm: float) -> Cycle[float]:
    """How far from a place on the plate its rim is along an axis, with its sign."""
    bench.say(f"Looking for the rim of the reference plate toward {'+' if sign > 0 else '-'}{'xy'[axis]}")
    on_mm, off_mm = 0.0, STEP_MM
    while (yield from _met(bench, _beside(at, axis, sign * off_mm), axis_mm, ABOVE_MM, BELOW_MM)) is not None:
        on_mm, off_mm = off_mm, off_mm + STEP_MM
        if off_mm > REACH_MM:
            raise trip(Cause.NOTHING_AT_PLATE, f"no rim within {REACH_MM:.0f} mm: that is no plate of its own")
    while off_mm - on_mm > RIM_MM:
        middle_mm = 0.5 * (on_mm + off_mm)
        met = yield from _met(bench, _beside(at, axis, sign * middle_mm), axis_mm, ABOVE_MM, BELOW_MM)
        on_mm, off_mm = (on_mm, middle_mm) if met is None else (middle_mm, off_mm)
    return sign * 0.5 * (on_mm + off_mm)


def _beside(at: Point, axis: int, by_mm: float) -> Point:
    return (at[0] + by_mm, at[1]) if axis == 0 else (at[0], at[1] + by_mm)


def _met(bench: Bench, at: Point, axis_mm: float, above_mm: float, below_mm: float) -> Cycle[float | None]:
    """Axis height (mm) at which metal is met at a place, None when it is not; up at the clear height afterwards."""
    yield from travel(bench, *at)
    yield from lower(bench, (axis_mm + above_mm) * UM_PER_MM)
    bench.enter(Trigger.TOUCH)
    open_v = yield from prove(bench)
    if open_v <= OPEN_V:
        yield from release(bench)
        bench.enter(Trigger.TOUCHED)
        raise (yield from why_closed(bench, open_v, f"above {REFERENCE_PLATE}"))
    deep_um = bench.sense.seen.z_um - (axis_mm - below_mm) * UM_PER_MM
    met = yield from descend(bench, slide_here(bench), TOUCH_SPEED_UM_S, deep_um, [])
    met_mm = bench.sense.seen.z_um / UM_PER_MM
    yield from release(bench)
    bench.enter(Trigger.TOUCHED)
    yield from rise(bench)
    return met_mm if met else None
