"""Waiting, in ticks: for a time, for the board's queue, for something to become true."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.commands import Output
from controller.core.rig import Bench, Cycle

# The longest way of a small machine (300 mm) at a slow 5 mm/s: common practice, no source.
DRAIN_TIMEOUT_S: Final = 60.0


def pause(rig: Bench, seconds: float) -> Cycle[None]:
    """Let a time pass."""
    until_s = rig.now_s + seconds - 1e-9
    while rig.now_s < until_s:
        rig.rests_until_s = until_s
        yield ()


def drip(rig: Bench) -> Cycle[None]:
    """Wait until the jet has been off for as long as a film needs to drain; what the way here took counts."""
    stopped_s = rig.locks.since_s[Output.WATER]
    # Before it was switched for the first time nobody knows how long it has been off: the whole pause then.
    off_s = rig.now_s - stopped_s if stopped_s >= 0.0 else 0.0
    yield from pause(rig, rig.machine.water.drip_pause_s - off_s)


def drain(rig: Bench) -> Cycle[None]:
    """Wait until everything sent to the board has been done; one tick at least, so that what was just sent counts.

    Raises Trip when the board does not get there.
    """
    yield ()
    end_s = rig.now_s + DRAIN_TIMEOUT_S
    while rig.sense.seen.queued:
        if rig.now_s > end_s:
            raise trip(Cause.BOARD_STUCK, f"{DRAIN_TIMEOUT_S:.0f} s")
        yield ()


def until(rig: Bench, true: Callable[[], bool], timeout_s: float) -> Cycle[bool]:
    """Wait until something is true; False when the time ran out first."""
    end_s = rig.now_s + timeout_s
    while not true():
        if rig.now_s >= end_s:
            return False
        yield ()
    return True
