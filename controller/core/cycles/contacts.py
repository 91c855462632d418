"""Putting the source on the electrode and taking it off: the switching order of the electrical page, as cycles."""

from __future__ import annotations

from typing import Final

from controller.core.causes import Cause, trip
from controller.core.commands import Output, Switch, Turn
from controller.core.cycles.wait import drain, pause, until
from controller.core.events import Proven
from controller.core.interlocks import BREAK_BEFORE_MAKE_S, GAP_OPEN_BEFORE_BREAK_S
from controller.core.rig import Bench, Cycle
from controller.core.window import ABSENT_V

# Pin volts (electrics.md): "reads open" is anything above half of the 5 V feed, which no wet gap of contact size
# reaches (0.97 V at 500 µS/cm, 0.37 V at 1500).
OPEN_V: Final = 2.5
# Longest time a contact may take to follow its coil: five times the release asked for (20 ms, electrics.md).
CONTACT_TIMEOUT_S: Final = 0.1
# A source on an open gap shows its voltage, at the latest after its longest drop-out (0.4 s, electrics.md) or its own
# shut-off after a short (some seconds). Half of the 10 s that it may stand live without removal: chosen.
ALIVE_TIMEOUT_S: Final = 5.0
ALIVE_S: Final = 0.02  # two ticks at 100 Hz; chosen
# Ten times the worst age measured of a healthy stream (11 ms, wires.md).
SAMPLES_TIMEOUT_S: Final = 0.1
# A relay and its reading settle: twice the sensing relay's usual 5–10 ms (common practice, no source), in whole ticks.
SENSE_SETTLE_S: Final = 0.03
# A wet tip drips; how long to wait for the sensing path to open at a place where the gap is known to be wide. Chosen:
# several times the drip pause of a usual machine file.
DRY_TIMEOUT_S: Final = 30.0


def reading_v(rig: Bench) -> Cycle[float]:
    """The pin's volts of the next tick that brought samples: no samples are no reading. Raises Trip when none come."""
    if not (yield from until(rig, lambda: bool(rig.sense.seen.samples), SAMPLES_TIMEOUT_S)):
        raise trip(Cause.SAMPLER_SILENT)
    return rig.sense.pin_v()


def prove(rig: Bench) -> Cycle[float]:
    """Prove the source isolated and the gap open on the sensing path; returns the open reading in volts.

    Leaves the sensing feed on. Raises Trip when the source is still there or its contact does not open.
    """
    # What an earlier proof found says nothing of this place and moment.
    rig.locks.proven = rig.locks.sensed_open = False
    if not (yield from until(rig, lambda: rig.sense.seen.contact_open, CONTACT_TIMEOUT_S)):
        raise trip(Cause.SOURCE_STUCK_ON)
    if rig.locks.on[Output.SENSING]:
        yield (Switch(Output.SENSING, False),)
    yield from pause(rig, BREAK_BEFORE_MAKE_S + SENSE_SETTLE_S)
    off_v = yield from reading_v(rig)
    if off_v >= ABSENT_V:
        raise trip(Cause.SOURCE_STILL_THERE, f"{off_v:.2f} V")
    yield (Switch(Output.SENSING, True),)
    yield from pause(rig, SENSE_SETTLE_S)
    rig.locks.proven = True
    opened = yield from until(rig, lambda: rig.sense.pin_v() > OPEN_V, DRY_TIMEOUT_S)
    open_v = yield from reading_v(rig)
    if not opened:
        return open_v
    rig.locks.sensed_open = True
    rig.tell(Proven(rig.now_s, off_v, open_v))
    return open_v


def release(rig: Bench) -> Cycle[None]:
    """Switch the sensing feed off before the phase that permits it is left."""
    if rig.locks.on[Output.SENSING]:
        yield (Switch(Output.SENSING, False),)


def energise(rig: Bench) -> Cycle[None]:
    """Sensing off, water on, flow confirmed, source on; in approach, after a proof.

    Raises Trip when no flow is confirmed or the source contact does not close.
    """
    if rig.locks.on[Output.SENSING]:
        yield (Switch(Output.SENSING, False),)
    yield (Switch(Output.WATER, True),)
    yield from pause(rig, BREAK_BEFORE_MAKE_S)
    if not (yield from until(rig, lambda: rig.sense.seen.flow, rig.machine.water.flow_timeout_s)):
        raise trip(Cause.NO_FLOW)
    spindle = rig.machine.spindle
    if spindle.fitted:
        # Turning wears the electrode evenly, keeps it from welding and helps the flushing (Koshy, Jain & Lal 1993).
        yield (Turn(spindle.rev_min),)
    yield (Switch(Output.SOURCE, True),)
    flips = rig.sense.flips
    if not (yield from until(rig, lambda: rig.sense.live, CONTACT_TIMEOUT_S)):
        raise trip(Cause.CONTACT_CHATTERS if rig.sense.flips > flips + 1 else Cause.SOURCE_STUCK_OFF)


def alive(rig: Bench, timeout_s: float) -> Cycle[bool]:
    """Whether voltage comes over the gap, which was sensed open, in this time."""
    return (yield from until(rig, lambda: rig.sense.open_s >= ALIVE_S, timeout_s))


def isolate(rig: Bench, timeout_s: float, flush_s: float = 0.0) -> Cycle[bool]:
    """Open the source contact cold, flush for a time, then stop the water. False when the gap did not open in time."""
    if rig.locks.on[Output.SOURCE]:
        yield from drain(rig)
        opened = yield from until(
            rig, lambda: rig.locks.gap_open_s >= GAP_OPEN_BEFORE_BREAK_S and not rig.sense.seen.queued, timeout_s
        )
        if not opened:
            return False
        yield (Switch(Output.SOURCE, False),)
        yield from pause(rig, flush_s)
    yield from stop_spindle(rig)
    yield from stop_water(rig)
    return True


def stop_spindle(rig: Bench) -> Cycle[None]:
    """Stop the spindle, where there is one."""
    if rig.machine.spindle.fitted:
        yield (Turn(0.0),)


def stop_water(rig: Bench) -> Cycle[None]:
    """Stop the water once the source contact is proven open. Raises Trip when it stays closed."""
    if not (yield from until(rig, lambda: rig.sense.seen.contact_open, CONTACT_TIMEOUT_S)):
        raise trip(Cause.SOURCE_STUCK_ON)
    if rig.locks.on[Output.WATER]:
        yield (Switch(Output.WATER, False),)
