"""Giving the electrode new length: ask for it, prove it, measure it."""

from __future__ import annotations

from controller.core.cycles.ask import ask
from controller.core.cycles.contacts import prove
from controller.core.cycles.measure import measure
from controller.core.cycles.touch import release
from controller.core.cycles.travel import rise
from controller.core.events import ElectrodeAdvanced
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Rig


def advance_due(rig: Rig) -> bool:
    """True when one more hole might wear the rod below the shortest protrusion that the holder allows."""
    electrode = rig.electrode
    after = electrode.tip_mm - electrode.wear_mm - 2.0 * electrode.u_after(1.0)
    return after < rig.given.machine.holder.min_protrusion_mm


def advance(rig: Rig) -> Cycle[None]:
    """Ask the operator to push the electrode down (or to put a new one in), prove, measure. Ends in idle."""
    holder, electrode = rig.given.machine.holder, rig.electrode
    job_rod = rig.given.job.electrode
    exhausted = electrode.stock_mm - electrode.wear_mm < job_rod.min_length_mm
    yield from rise(rig)
    rig.locks.clear_z_um = rig.top_um
    to_mm = holder.protrusion_mm
    if exhausted:
        what = f"The rod is down to {electrode.stock_mm:.1f} mm, the stub that can't be used is {job_rod.min_length_mm:.1f} mm."
        do = f"Put a new rod of {job_rod.length_mm:.0f} mm in, {to_mm:.0f} mm (± {2 * holder.protrusion_u_mm:.0f}) below the holder."
    else:
        what = f"The electrode stands out {electrode.tip_mm:.1f} mm, the least allowed is {holder.min_protrusion_mm:.1f} mm."
        do = f"Push the rod down until it stands out {to_mm:.0f} mm (± {2 * holder.protrusion_u_mm:.0f}), clamp it."
    yield from ask(
        rig,
        topic="electrode-exhausted" if exhausted else "advance",
        what_happened=what,
        what_to_do=do,
        what_next="The host proves the source absent, measures the electrode on the reference plate and goes on.",
        choices=("done", "end"),
        planned=True,
    )
    yield from prove(rig)
    yield from release(rig)
    rig.enter(Trigger.GO_ON)
    stock = job_rod.length_mm if exhausted else None
    electrode.renewed(holder.protrusion_mm, holder.protrusion_u_mm, stock)
    kept = electrode.stock_mm
    yield from measure(rig)
    # How far the rod was pushed says nothing about how much of it is left.
    electrode.stock_mm = kept
    rig.advances += 1
    rig.tell(ElectrodeAdvanced(rig.now_s, electrode.tip_mm, electrode.stock_mm, rig.advances))
