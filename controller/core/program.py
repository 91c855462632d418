"""The job as one cycle: reference (or take up again), measure, map, then hole after hole, measuring when it is due."""

from __future__ import annotations

from typing import Final

from controller.core.cycles.advance import advance, advance_due, needle_too_long
from controller.core.cycles.ask import EndRun
from controller.core.cycles.attend import attend
from controller.core.cycles.drill import Drilling
from controller.core.cycles.judge import measure_electrode
from controller.core.cycles.measure import map_surface
from controller.core.cycles.recentre import check_place
from controller.core.cycles.take_up import take_up
from controller.core.cycles.travel import reference, rise
from controller.core.events import RunEnded, SourceLearned
from controller.core.laws import DropOutLaw
from controller.core.rig import Cycle, Rig

# Share of drop-outs that last longer than what is called the longest: as `laws` reads the machine file, two sigma.
LONGEST_SHARE: Final = 0.0228


def longest_s(drops: DropOutLaw) -> float:
    """How long drop-outs hardly ever last: found by halving."""
    low, high = drops.median_s, 1000.0 * drops.median_s
    while high / low > 1.001:
        middle = (low * high) ** 0.5
        low, high = (middle, high) if drops.survival(middle) > LONGEST_SHARE else (low, middle)
    return high


def measurement_due(rig: Rig) -> bool:
    """True when the tip is doubted, or the next hole would lose more by not knowing it than measuring takes."""
    return rig.electrode.suspected_mm != 0.0 or rig.measuring.due(rig.unsure_mm())


def holes_to_measurement(rig: Rig) -> int:
    """In how many holes the electrode will be measured, if nothing surprises; 0 before the next."""
    return rig.measuring.holes_left(rig.unsure_mm)


def program(rig: Rig) -> Cycle[RunEnded]:
    """Make every hole of the plan. Returns how it ended; raises Trip and EndRun on the way."""
    before = rig.before
    if before is None:
        yield from reference(rig)
        yield from measure_electrode(rig)
        yield from map_surface(rig)
    else:
        yield from take_up(rig, before)
    begun = {before.begun} if before else set()
    while left := [hole for hole in rig.given.plan.holes if hole.index not in rig.outcomes]:
        hole = left[0]
        if advance_due(rig) or needle_too_long(rig):
            yield from advance(rig)
        elif measurement_due(rig):
            yield from measure_electrode(rig)
        yield from attend(rig)
        yield from Drilling(rig, hole, begun=hole.index in begun).run()
        begun.add(hole.index)  # if it is ever doubted
    rig.hole = 0
    yield from measure_electrode(rig)
    yield from check_place(rig)
    yield from rise(rig)
    drops = rig.sense.gap.drop_outs
    rig.tell(SourceLearned(rig.now_s, drops.rate_hz, drops.median_s, longest_s(drops), drops.live_s))
    rig.say("Done")
    wrong = sum(outcome != "through" for outcome in rig.outcomes.values())
    if wrong:
        total = len(rig.given.plan.holes)
        raise EndRun("held", f"{wrong} of {total} holes are not through at full size; see the report for which and why")
    return RunEnded(rig.now_s, "complete", "every hole is through at full size by estimate")
