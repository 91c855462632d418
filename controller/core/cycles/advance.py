"""Giving the electrode new length: ask for it, prove it, measure it."""

from __future__ import annotations

from typing import Final

from controller.core.breakthrough import FREE_RUN_UM, ROOM_BELOW_MARGIN_MM
from controller.core.cycles.ask import ask
from controller.core.cycles.contacts import OPEN_V, prove, release
from controller.core.cycles.measure import measure
from controller.core.cycles.recentre import check_place
from controller.core.cycles.recover import ask_for_help
from controller.core.cycles.travel import rise_to_top
from controller.core.events import ElectrodeAdvanced
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Rig, guessed_cone_mm
from controller.settings.units import UM_PER_MM

# Less than this share of what a push was to gain, or of what the eye can't tell, is none. Chosen.
NO_PUSH: Final = 0.5


def advance_due(rig: Rig) -> bool:
    """True when one more hole might wear the rod below the shortest protrusion that the holder allows."""
    electrode = rig.electrode
    after = electrode.tip_mm - electrode.wear_mm - 2.0 * electrode.u_after(1.0)
    return after < rig.machine.holder.min_protrusion_mm


def needle_too_long(rig: Rig) -> bool:
    """True when the worn cone no longer fits into the room below the plate, free run and margin included."""
    if rig.needle:
        return True
    room_mm = rig.given.job.work.clear_below_mm - ROOM_BELOW_MARGIN_MM - FREE_RUN_UM / UM_PER_MM
    # Where not even a flat rod has room, a new one is no help.
    return rig.electrode.cone_mm > max(room_mm, 0.0)


def reach_mm(rig: Rig) -> float:
    """How far the rod in use can be made to stand out: as the holder says, or as its stock allows.

    The shortest usable rod stands out by the holder's least protrusion; what it is longer is held.
    """
    return min(rig.machine.holder.protrusion_mm, rig.electrode.stock_mm - held_mm(rig))


def held_mm(rig: Rig) -> float:
    """How much of a rod the holder has to hold."""
    return max(rig.given.job.electrode.min_length_mm - rig.machine.holder.min_protrusion_mm, 0.0)


def advance(rig: Rig) -> Cycle[None]:
    """Ask the operator to push the electrode down (or to put a new one in), prove, measure. Ends in idle."""
    holder, electrode = rig.machine.holder, rig.electrode
    job_rod = rig.given.job.electrode
    # A push by eye that gains less than its own error is none.
    by_eye_mm = 2.0 * holder.protrusion_u_mm
    before_mm = electrode.tip_mm
    needle = needle_too_long(rig)
    exhausted = needle or reach_mm(rig) - electrode.tip_mm < by_eye_mm
    yield from rise_to_top(rig)
    to_mm = min(holder.protrusion_mm, job_rod.length_mm) if exhausted else reach_mm(rig)
    if needle:
        what = "The rod is worn to a needle longer than the room below the plate: its full diameter no longer passes."
        do = f"Put a flat-ended rod of {job_rod.length_mm:.0f} mm in, standing out {to_mm:.0f} mm (± {by_eye_mm:.0f})."
    elif exhausted:
        what = f"The rod is down to {electrode.stock_mm:.1f} mm, too short to be pushed any further."
        do = f"Put a new rod of {job_rod.length_mm:.0f} mm in so that it stands out {to_mm:.0f} mm (± {by_eye_mm:.0f})."
    else:
        what = f"The electrode stands out {electrode.tip_mm:.1f} mm; the least is {holder.min_protrusion_mm:.1f} mm."
        do = f"Push the rod down until it stands out {to_mm:.0f} mm (± {by_eye_mm:.0f}), clamp it."
    yield from ask(
        rig,
        topic="electrode-exhausted" if exhausted else "advance",
        what_happened=what,
        what_to_do=do,
        what_next="The host proves the source absent, measures the electrode on the reference plate and goes on.",
        choices=("done", "end"),
        planned=True,  # it is wear, like the length that is pushed down
    )
    open_v = yield from prove(rig)
    yield from release(rig)
    if open_v <= OPEN_V:
        yield from ask_for_help(rig, "After the advance the sensing path reads contact, at the top of the travel.")
    rig.enter(Trigger.GO_ON)
    stock = job_rod.length_mm if exhausted else None
    electrode.renewed(to_mm, holder.protrusion_u_mm, stock)
    if exhausted:
        electrode.flat_end(guessed_cone_mm(rig.given))
        rig.needle = False
    # It may not have been done, or not have worked.
    yield from measure(rig, doubt_mm=0.0, least_mm=before_mm)
    yield from check_place(rig)
    if not exhausted and electrode.tip_mm - before_mm < NO_PUSH * min(by_eye_mm, to_mm - before_mm):
        # It was to be pushed, and stands out no further: whatever is left above, there is nothing to be had of it.
        rig.say("The rod did not come out any further")
        electrode.stock_mm = min(electrode.stock_mm, electrode.tip_mm + held_mm(rig))
        return
    rig.advances += 1
    rig.tell(ElectrodeAdvanced(rig.now_s, electrode.tip_mm, electrode.stock_mm, rig.advances))
