"""Ending early on request: out of the hole, source opened cold, everything off, then hold."""

from __future__ import annotations

from typing import Final

from controller.core.causes import Cause, trip
from controller.core.cycles.ask import EndRun
from controller.core.cycles.contacts import isolate, release, stop_water
from controller.core.cycles.travel import lift
from controller.core.cycles.wait import drain
from controller.core.events import RunEnded
from controller.core.phases import Phase, Trigger
from controller.core.rig import Bench, Cycle

# How long the gap may take to open once the tip is at the clear height: longer than any drop-out (10–400 ms,
# electrics.md) and a source's own shut-off after a short together. Chosen so.
OPEN_TIMEOUT_S: Final = 5.0


def stand_down(rig: Bench, why: str) -> Cycle[RunEnded]:
    """Leave off whatever was being done, from any phase, and end the run as `held`.

    The tip goes straight up, the way it came. Raises Trip when the gap does not open even there, EndRun when all is
    off.
    """
    rig.say(f"Ending here: {why}")
    if rig.in_phase(Phase.FAULT):
        yield from stop_water(rig)
        rig.enter(Trigger.ACKNOWLEDGE)
    yield from release(rig)
    if rig.in_phase(Phase.COMMISSION):
        yield from isolate(rig, OPEN_TIMEOUT_S)
        rig.enter(Trigger.INSPECTED)
    if not rig.in_phase(Phase.IDLE, Phase.HOLD, Phase.RETRACT):
        rig.enter(Trigger.WITHDRAW)
    if rig.in_phase(Phase.RETRACT):
        if rig.sense.seen.homed:  # before that nobody knows what is up
            yield from lift(rig, rig.clear_z_um())
        if not (yield from isolate(rig, OPEN_TIMEOUT_S)):
            raise trip(Cause.GAP_DOES_NOT_OPEN)
        rig.enter(Trigger.CLEARED)
    yield from stop_water(rig)
    yield from drain(rig)
    if rig.in_phase(Phase.IDLE):
        rig.enter(Trigger.HOLD)
    raise EndRun("held", why)
