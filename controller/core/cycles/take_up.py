"""Taking up a run that ended early or broke off: find out anew where everything is, and compare.

Axes are referenced, the source is proven isolated, the electrode is measured over the whole way at touch speed, the
work is touched again, and one finished hole is felt from inside. What does not fit is named: another electrode, a work
that was moved, steps that were lost.
"""

from __future__ import annotations

from math import hypot
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.cycles.contacts import OPEN_V, prove, release
from controller.core.cycles.judge import ask_about_rod, new_rod
from controller.core.cycles.measure import HOMING_U_MM, TOUCH_U_MM, map_surface, measure
from controller.core.cycles.recentre import check_place
from controller.core.cycles.recover import ask_for_help
from controller.core.cycles.travel import reference, rise_to_top
from controller.core.events import ElectrodeAdvanced, RunResumed
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Rig
from controller.core.standing import Standing
from controller.core.surface import Surface

# So many standard uncertainties are no accident (common practice, no source).
SURE: Final = 3.0
HANDS_ADVANCE: Final = ("advance", "electrode-exhausted")


def remember(rig: Rig, before: Standing) -> None:
    """Take over what was made and what was believed."""
    rig.before = before
    rig.prompts, rig.advances = before.prompts, before.advances
    rig.locks.hot_openings = before.hot_openings
    rig.outcomes = dict(before.finished)
    rig.open_holes = list(before.through)
    if before.checkpoint is not None:
        rig.electrode.believe(before.checkpoint.belief)
        rig.usual_sparks_per_um = before.checkpoint.sparks_per_um or None


def take_up(rig: Rig, before: Standing) -> Cycle[None]:
    """From switched on to ready for the next hole. Ends in idle. Raises Trip for what does not fit."""
    rig.tell(RunResumed(rig.now_s, before.after, len(before.finished), before.begun))
    yield from reference(rig)
    yield from rise_to_top(rig)
    yield from _free(rig)
    tip_mm, tip_u_mm = rig.electrode.tip_mm, rig.electrode.tip_u_mm
    rig.electrode.unsettle(rig.machine.holder.protrusion_u_mm)
    yield from measure(rig, from_here=True, doubt_mm=0.0)
    yield from rise_to_top(rig)
    yield from _judge_electrode(rig, before, tip_mm, tip_u_mm)
    yield from map_surface(rig)
    if before.surface is not None:
        _judge_surface(rig, before)
    yield from check_place(rig)


def _free(rig: Rig) -> Cycle[None]:
    """The electrode may have been left in the work: prove the source absent, and that nothing is touched up here."""
    rig.enter(Trigger.TOUCH)
    open_v = yield from prove(rig)
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)
    if open_v <= OPEN_V:
        yield from ask_for_help(rig, "The sensing path reads contact at the top of the travel.")
        rig.enter(Trigger.GO_ON)


def _judge_electrode(rig: Rig, before: Standing, tip_mm: float, tip_u_mm: float) -> Cycle[None]:
    """Is it the rod that was there? One hole at most was worn off it since it was known last."""
    if before.checkpoint is None:
        return
    electrode, holder = rig.electrode, rig.given.machine.holder
    off_mm = electrode.tip_mm - tip_mm
    unsure_mm = SURE * hypot(tip_u_mm, TOUCH_U_MM, HOMING_U_MM)
    worn_mm = electrode.wear_mm + SURE * electrode.wear_u_mm if before.begun else 0.0
    if -(worn_mm + unsure_mm) <= off_mm <= unsure_mm:
        return
    if before.hands in HANDS_ADVANCE and off_mm > 2.0 * holder.protrusion_u_mm:
        if before.hands != HANDS_ADVANCE[0]:
            new_rod(rig)
        rig.advances += 1
        rig.tell(ElectrodeAdvanced(rig.now_s, electrode.tip_mm, electrode.stock_mm, rig.advances))
        rig.check_point()
        return
    yield from ask_about_rod(rig, off_mm)


def _judge_surface(rig: Rig, before: Standing) -> None:
    was, now = before.surface, rig.surface
    if was is None or now is None:
        return
    face = Surface(was.a_mm, was.b, was.c, was.twist, was.x0_mm, was.y0_mm, was.largest_residual_mm, was.u_mm)
    holes = rig.given.plan.holes
    off_mm = max((now.at_mm(at.x_mm, at.y_mm) - face.at_mm(at.x_mm, at.y_mm) for at in holes), key=abs)
    if abs(off_mm) > SURE * hypot(was.u_mm, now.u_mm):
        raise trip(Cause.WORK_MOVED, f"its face is {off_mm:+.2f} mm from where it was mapped")
