"""Checks of the axes: each finds its switch where the machine file says it is, and goes its whole travel."""

from __future__ import annotations

from math import hypot
from typing import Final

from controller.core.checks.examination import Check, Examination, Verdict, failed, not_done, passed
from controller.core.commands import Halt, Home, Move
from controller.core.cycles.ask import pose
from controller.core.cycles.contacts import OPEN_V, prove, release
from controller.core.cycles.travel import HOME_TIMEOUT_S, rise_to_top
from controller.core.cycles.wait import drain, pause
from controller.core.events import Figure
from controller.core.observation import BoardState
from controller.core.phases import Trigger
from controller.core.rig import Bench, Cycle
from controller.core.window import METAL_V
from controller.settings.units import UM_PER_MM

# A contact that lasts for so many ticks in a row is one: a spike of noise is shorter. Chosen.
CONTACT_TICKS: Final = 2
# A board that was reset tells where it stands within its boot and a few questions (some 3 s, common practice, no
# source); twice that: chosen.
AFTERMATH_S: Final = 6.0
# Room to both ends of the travel, so that no switch is run into. Chosen.
END_ROOM_MM: Final = 2.0


def _axes(exam: Examination) -> Cycle[Verdict]:
    """Homing, with the sensing feed on where it can be; else only while somebody watches."""
    bench = exam.bench
    if not exam.source_away:
        return not_done("nothing moves while the source may stand on the electrode")
    if not bench.sense.seen.guard_closed:
        return not_done("the guard is open", "shut it, then start again")
    watched = exam.passed("isolation")
    if not watched and not (yield from _somebody_watches(exam)):
        return not_done(
            "axes that nobody has tried are referenced only with a sound sensing path, or while somebody watches",
            "mend what was found above, then start again",
        )
    exam.leave_commission()
    bench.enter(Trigger.SEEK)
    if watched and (yield from prove(bench)) <= OPEN_V:
        yield from release(bench)
        bench.enter(Trigger.REFERENCED)
        exam.stand()
        return failed("the tip touches something before anything has moved", "clear it, then start again")
    bench.say("Referencing the axes: z first, upward")
    began_s = bench.now_s
    yield (Home(),)
    yield ()
    met = yield from _until_referenced(bench, watched=watched)
    took_s = Figure("took", bench.now_s - began_s, "s", 1)
    seen = bench.sense.seen
    if met or not seen.homed:
        if met or seen.board is BoardState.HOMING:
            yield (Halt(),)
        yield from pause(bench, AFTERMATH_S)
    yield from release(bench)
    bench.enter(Trigger.REFERENCED)
    exam.stand()
    return _homing_judged(bench, took_s, met=met)


def _homing_judged(bench: Bench, took_s: Figure, *, met: bool) -> Verdict:
    axis = bench.sense.seen.seeking
    if met:
        return failed(
            f"{axis or 'an axis'} runs the wrong way: the tip met metal while the axes looked for their switches",
            "turn its motor's direction round (in the board's settings, or by swapping one of its coils), then start "
            "again",
            took_s,
        )
    if not bench.sense.seen.homed:
        named = f"axis {axis}" if axis else "an axis"
        return failed(
            f"{named} did not find its switch: reversed, or its switch is at the other end, or does not close",
            "does it run away from its switch? then turn its motor's direction round (in the board's settings, or by "
            "swapping one of its coils). Else look at the switch and its wire",
            took_s,
        )
    return passed("every axis found its switch where the machine file says it is", took_s)


def _somebody_watches(exam: Examination) -> Cycle[bool]:
    if not exam.answers:
        return False
    answer = yield from pose(
        exam.bench,
        "referencing unwatched",
        "The sensing path can't be trusted, so nothing would stop a tip that goes down instead of up.",
        "Stand at the machine with a hand on the hard-wired stop. z moves first, and must go up; press the stop if it "
        "does not.",
        "the axes are referenced",
        ("go on", "skip", "end"),
        planned=False,
    )
    return answer.choice == "go on"


def _until_referenced(bench: Bench, *, watched: bool) -> Cycle[bool]:
    """Wait for the end of homing; True when the tip has met metal on the way."""
    end_s = bench.now_s + HOME_TIMEOUT_S
    contact = 0
    while bench.now_s < end_s:
        seen = bench.sense.seen
        if seen.board in (BoardState.ALARM, BoardState.LOST):
            return False
        if seen.homed and seen.board is BoardState.READY and not seen.queued:
            return False
        if watched and seen.samples:
            contact = contact + 1 if bench.sense.pin_v() < METAL_V else 0
            if contact >= CONTACT_TICKS:
                return True
        yield ()
    return False


def _travel(exam: Examination) -> Cycle[Verdict]:
    """From end to end of x and y at the top of z, and back to where it began."""
    bench = exam.bench
    if not bench.sense.seen.guard_closed:
        return not_done("the guard is open", "shut it, then start again")
    axes = bench.machine.axes
    exam.leave_commission()
    yield from rise_to_top(bench)
    speed_um_s = min(axes.top_speed_mm_s[0], axes.top_speed_mm_s[1]) * UM_PER_MM
    ends = [
        (axes.travel_min_mm[0] + END_ROOM_MM, axes.travel_min_mm[1] + END_ROOM_MM),
        (axes.travel_max_mm[0] - END_ROOM_MM, axes.travel_max_mm[1] - END_ROOM_MM),
        (axes.home_mm[0], axes.home_mm[1]),
    ]
    began_s, way_mm = bench.now_s, 0.0
    for x_mm, y_mm in ends:
        seen = bench.sense.seen
        way_mm += hypot(x_mm - seen.x_um / UM_PER_MM, y_mm - seen.y_um / UM_PER_MM)
        yield (Move(x_mm * UM_PER_MM, y_mm * UM_PER_MM, seen.z_um, speed_um_s),)
        yield from drain(bench)
    seen, took_s = bench.sense.seen, bench.now_s - began_s
    exam.stand()
    figures = (Figure("way", way_mm, "mm"), Figure("took", took_s, "s", 1))
    home_um = [mm * UM_PER_MM for mm in axes.home_mm]
    step_um = [UM_PER_MM / per_mm for per_mm in axes.steps_per_mm]
    off_um = [abs(seen.x_um - home_um[0]), abs(seen.y_um - home_um[1])]
    if not seen.homed or any(off > step for off, step in zip(off_um, step_um, strict=False)):
        return failed(
            f"after its way the board counts x {off_um[0]:.0f} µm and y {off_um[1]:.0f} µm away from where it was sent",
            "look at its travel, soft limits and end stops",
            *figures,
        )
    return passed("x and y went their whole travel, and the board's count agrees", *figures)


MOTION: Final = (
    Check("axes", "Travel and direction: every axis finds its switch", (), _axes),
    Check("travel", "Travel from end to end", ("axes", "isolation"), _travel),
)
