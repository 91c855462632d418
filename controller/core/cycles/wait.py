"""Waiting, in ticks: for a time, for the board's queue, for something to become true."""

from __future__ import annotations

from collections.abc import Callable

from controller.core.rig import Cycle, Rig


def pause(rig: Rig, seconds: float) -> Cycle[None]:
    """Let a time pass."""
    until_s = rig.now_s + seconds - 1e-9
    while rig.now_s < until_s:
        yield ()


def drain(rig: Rig) -> Cycle[None]:
    """Wait until everything sent to the board has been done; one tick at least, so that what was just sent counts."""
    yield ()
    while rig.sense.seen.queued:
        yield ()


def until(rig: Rig, true: Callable[[], bool], timeout_s: float) -> Cycle[bool]:
    """Wait until something is true; False when the time ran out first."""
    end_s = rig.now_s + timeout_s
    while not true():
        if rig.now_s >= end_s:
            return False
        yield ()
    return True
