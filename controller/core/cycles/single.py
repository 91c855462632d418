"""What a single command does on a bench: go somewhere, touch something, measure the electrode. All begin by homing.

Opening the ports has reset both boards, so no position is known when a command begins.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from controller.core.commands import Move
from controller.core.cycles.contacts import OPEN_V, prove, release
from controller.core.cycles.measure import measure
from controller.core.cycles.touch import descend, slide_here, touch_down
from controller.core.cycles.travel import lift, lower, reference, rise, travel
from controller.core.cycles.wait import drain, drip
from controller.core.events import Arrived, RunEnded
from controller.core.permissions import TOUCH_SPEED_UM_S
from controller.core.phases import Trigger
from controller.core.rig import Bench, Cycle, Trip
from controller.settings.units import UM_PER_MM

# Room below a believed height within which metal must be met. Chosen: as much again as for the electrode.
TOUCH_MARGIN_MM: Final = 1.0


@dataclass(slots=True, frozen=True)
class Place:
    """Where to go (machine frame, mm); None: stay as it is."""

    x_mm: float | None = None
    y_mm: float | None = None
    z_mm: float | None = None


def jog(place: Place) -> Callable[[Bench], Cycle[RunEnded]]:
    """Go to a place: up first, then sideways, then down; below the clear height slowly, and no further than metal."""

    def work(bench: Bench) -> Cycle[RunEnded]:
        yield from reference(bench)
        if place.x_mm is not None or place.y_mm is not None:
            seen = bench.sense.seen
            x_mm = seen.x_um / UM_PER_MM if place.x_mm is None else place.x_mm
            y_mm = seen.y_um / UM_PER_MM if place.y_mm is None else place.y_mm
            bench.say(f"Going to x {x_mm:g}, y {y_mm:g} at the clear height")
            yield from travel(bench, x_mm, y_mm)
        met = (yield from _to_height(bench, place.z_mm * UM_PER_MM)) if place.z_mm is not None else False
        seen = bench.sense.seen
        bench.tell(Arrived(bench.now_s, seen.x_um / UM_PER_MM, seen.y_um / UM_PER_MM, seen.z_um / UM_PER_MM, met))
        where = "metal was met on the way" if met else "the axes stand where they were sent"
        return RunEnded(bench.now_s, "complete", where)

    return work


def _to_height(bench: Bench, z_um: float) -> Cycle[bool]:
    """Up, or down as far as the way is free; True when the tip met metal before it got there."""
    clear_um = bench.clear_z_um()
    bench.say(f"Going to z {z_um / UM_PER_MM:g}")
    yield from lift(bench, z_um)
    yield from lower(bench, max(z_um, clear_um))
    if z_um >= clear_um:
        return False
    bench.enter(Trigger.TOUCH)
    if (yield from prove(bench)) <= OPEN_V:
        raise Trip("sensing path closed", "it reads contact at the clear height", "clear and dry the tip")
    slide = slide_here(bench)
    # Short of the place by up to the feed of a tick; the rest is one move.
    depth_um = bench.sense.seen.z_um - z_um - TOUCH_SPEED_UM_S * bench.tick_s - bench.machine.useful_move_um
    met = yield from descend(bench, slide, TOUCH_SPEED_UM_S, depth_um, [])
    if not met:
        seen = bench.sense.seen
        yield (Move(seen.x_um, seen.y_um, z_um, TOUCH_SPEED_UM_S),)
        yield from drain(bench)
    yield from release(bench)
    bench.enter(Trigger.TOUCHED)
    return met


def touch_at(x_mm: float, y_mm: float) -> Callable[[Bench], Cycle[RunEnded]]:
    """Touch what lies at a place, as high as the work may be; up again afterwards."""

    def work(bench: Bench) -> Cycle[RunEnded]:
        yield from reference(bench)
        bench.say(f"Touching at x {x_mm:g}, y {y_mm:g}")
        yield from travel(bench, x_mm, y_mm)
        yield from drip(bench)
        place, rod = bench.machine.work_place, bench.electrode
        margin_mm = 3.0 * (place.surface_height_u_mm + rod.tip_u_mm) + TOUCH_MARGIN_MM
        expected_um = (place.surface_height_mm + rod.tip_mm) * UM_PER_MM
        yield from touch_down(bench, expected_um, margin_mm * UM_PER_MM, "what lies there")
        yield from rise(bench)
        return RunEnded(bench.now_s, "complete", "touched, and up again")

    return work


def measured(bench: Bench) -> Cycle[RunEnded]:
    """Measure the electrode on the reference plate; up again afterwards."""
    yield from reference(bench)
    yield from measure(bench)
    yield from rise(bench)
    return RunEnded(bench.now_s, "complete", "measured, and up again")
