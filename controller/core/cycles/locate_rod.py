"""How the rod stands: its lean against the feed axis, and, where a spindle turns it, how far its end runs out.

Both by touching walls sideways. A rod that leans meets the same wall elsewhere when its axis goes further down: by
lean times depth, whichever end of the wall it meets. Play, radius and the wall's own place are the same at both depths
and drop out. A rod that runs out meets a wall elsewhere each time it was turned and stopped: its places scatter about
the middle by the run-out times a cosine, whose mean square is a half.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean, stdev
from typing import Final

from controller.core.commands import Turn
from controller.core.cycles.locate import stand_beside
from controller.core.cycles.side import Side, SideContact, touch_side
from controller.core.cycles.travel import rise
from controller.core.cycles.wait import pause
from controller.core.phases import Trigger
from controller.core.rig import Bench, Cycle, Trip
from controller.settings.job import Point
from controller.settings.units import MM_PER_M, UM_PER_MM

# How far the full rod stands below the far face at the upper of the two depths, and what is kept of the room below at
# the lower: a burr is passed, what lies behind isn't met. Chosen.
BELOW_MM: Final = 0.3
SPARED_MM: Final = 0.5
# Two depths nearer to each other than this tell no lean worth having: 3 µm a touch are 3 mm in a metre there. Chosen.
LEAST_APART_MM: Final = 1.5
# So many stops of the spindle, each after so long (s): at two turns a second it stops anywhere. Chosen.
STOPS: Final = 10
SPIN_S: Final = 0.6


@dataclass(slots=True, frozen=True)
class Wall:
    """A wall to be touched: from where, which way, how far, how high its rim is at the most, what it is called."""

    start: Point
    side: Side
    reach_mm: float
    rim_mm: float
    name: str


@dataclass(slots=True, frozen=True)
class FoundRod:
    """How the rod stands, with standard uncertainties.

    Attributes:
        lean_mm_m, u_lean_mm_m: Toward x and y, of its upper part against its tip, for each metre of height.
        run_out_mm, u_run_out_mm: Of its end about the spindle's axis; None without a spindle.
        apart_mm: How far apart the two depths were.
    """

    lean_mm_m: tuple[float, float]
    u_lean_mm_m: tuple[float, float]
    run_out_mm: float | None
    u_run_out_mm: float
    apart_mm: float


def find_rod(
    bench: Bench, walls: tuple[Wall, Wall], face_mm: float, thickness_mm: float, room_mm: float
) -> Cycle[FoundRod]:
    """Touch a wall across x and one across y at two depths each; with a spindle the first again after every stop.

    Args:
        bench: The bench; axes referenced, electrode measured.
        walls: Which are touched.
        face_mm: Height of the face there (machine mm); they reach `thickness_mm` down from it.
        thickness_mm: Of the plate.
        room_mm: Free below the plate.

    Raises Trip when there is too little room below, or as touching does.
    """
    upper_mm = thickness_mm + bench.electrode.cone_mm + BELOW_MM
    apart_mm = thickness_mm + room_mm - SPARED_MM - upper_mm
    if apart_mm < LEAST_APART_MM:
        raise Trip(
            "no room below",
            f"the rod can be touched at depths {max(apart_mm, 0.0):.1f} mm apart only, {LEAST_APART_MM:g} are needed",
            "put the plate higher, or take one that is thinner; `clear_below_mm` says how much is free below it",
        )
    leans, us = [0.0, 0.0], [0.0, 0.0]
    for wall in walls:
        high = yield from _touched(bench, wall, face_mm - upper_mm)
        low = yield from _touched(bench, wall, face_mm - upper_mm - apart_mm)
        axis = wall.side.axis
        leans[axis] = -(_at_mm(low) - _at_mm(high)) / apart_mm * MM_PER_M
        us[axis] = hypot(high.u_um, low.u_um) / UM_PER_MM / apart_mm * MM_PER_M
    run_out_mm, u_mm = None, 0.0
    if bench.machine.spindle.fitted:
        run_out_mm, u_mm = yield from _run_out(bench, walls[0], face_mm - upper_mm)
    return FoundRod((leans[0], leans[1]), (us[0], us[1]), run_out_mm, u_mm, apart_mm)


def _at_mm(contact: SideContact) -> float:
    return (contact.x_um, contact.y_um)[contact.side.axis] / UM_PER_MM


def _touched(bench: Bench, wall: Wall, tip_mm: float) -> Cycle[SideContact]:
    """Go beside a wall, down to a height of the tip, touch it; up at the clear height again."""
    bench.say(f"Touching {wall.name}, the tip at {tip_mm:.2f} mm")
    yield from stand_beside(bench, wall.start, wall.rim_mm, tip_mm, wall.name)
    contact = yield from touch_side(bench, wall.side, wall.reach_mm * UM_PER_MM, wall.name)
    yield from rise(bench)
    return contact


def _run_out(bench: Bench, wall: Wall, tip_mm: float) -> Cycle[tuple[float, float]]:
    """Turn, stop, touch, again and again; run-out and its standard uncertainty (mm)."""
    places: list[float] = []
    own_u: list[float] = []
    yield from stand_beside(bench, wall.start, wall.rim_mm, tip_mm, wall.name)
    for number in range(STOPS):
        bench.say(f"Turning the rod: stop {number + 1} of {STOPS}")
        bench.enter(Trigger.HOLD)
        yield (Turn(bench.machine.spindle.rev_min),)
        yield from pause(bench, SPIN_S * (1.0 + number / STOPS))
        yield (Turn(0.0),)
        yield from pause(bench, SPIN_S)
        bench.enter(Trigger.GO_ON)
        contact = yield from touch_side(bench, wall.side, wall.reach_mm * UM_PER_MM, wall.name)
        places.append(_at_mm(contact))
        own_u.append(contact.u_um / UM_PER_MM)
    yield from rise(bench)
    return run_out(places, fmean(own_u))


def run_out(places_mm: Sequence[float], u_mm: float) -> tuple[float, float]:
    """Run-out (mm) from where a wall was met after stops anywhere, each known to `u_mm`; and its standard uncertainty.

    The places' variance is that of the touches plus half the run-out's square.
    """
    scatter_mm = stdev(places_mm)
    found_mm = sqrt(2.0 * max(scatter_mm**2 - u_mm**2, 0.0))
    # The variance of n values is known to a share of sqrt(2 / (n - 1)), at the most: a cosine's values are bounded.
    return found_mm, sqrt(2.0) * max(scatter_mm, u_mm) / sqrt(2.0 * (len(places_mm) - 1))
