"""Waiting: for the board's queue, for a time, for something to become true; and when waiting ends in a fault."""

from __future__ import annotations

from typing import TypeVar

import pytest

from controller.core.causes import Trip
from controller.core.commands import Output
from controller.core.cycles.wait import DRAIN_TIMEOUT_S, drain, drip, pause, until
from controller.core.rig import Cycle, Rig
from tests.core.given import rig, seen

TICK_S = 0.01
T = TypeVar("T")


def waited(
    at: Rig, cycle: Cycle[T], queued_until_s: float = 0.0, limit_s: float = 100.0, from_s: float = 0.0
) -> tuple[float, T]:
    """Run a waiting cycle, the board's queue empty from a time on: what time it was then, and what it returned."""
    for tick in range(round(limit_s / TICK_S)):
        now_s = from_s + tick * TICK_S
        at.sense.take(seen(time_s=now_s, queued=int(now_s < queued_until_s)))
        try:
            commands = next(cycle)
        except StopIteration as stop:
            result: T = stop.value
            return now_s, result
        assert not commands
    raise AssertionError(f"still waiting after {limit_s:.0f} s")


def test_an_empty_queue_is_looked_at_once_more() -> None:
    """What was just sent is not in the queue seen in the same tick, so draining takes a tick at least."""
    at = rig()
    assert waited(at, drain(at))[0] == pytest.approx(TICK_S)


@pytest.mark.parametrize("queued_until_s", [0.3, 20.0, DRAIN_TIMEOUT_S - 1.0])
def test_a_long_way_is_waited_for(queued_until_s: float) -> None:
    """As long as the longest way of a small machine takes, the queue is waited for, and no longer than it lasts."""
    at = rig()
    assert waited(at, drain(at), queued_until_s)[0] == pytest.approx(queued_until_s, abs=1.5 * TICK_S)


def test_a_board_that_never_gets_done_ends_in_a_fault() -> None:
    """A queue that stays full is no reason to wait for ever: the board is named, at the end of the time it is given."""
    at = rig()
    with pytest.raises(Trip, match="board stuck"):
        waited(at, drain(at), queued_until_s=1e9, limit_s=DRAIN_TIMEOUT_S + 1.0)
    assert at.now_s == pytest.approx(DRAIN_TIMEOUT_S, abs=3.0 * TICK_S)


def test_a_pause_lasts_as_long_as_asked() -> None:
    """No shorter than asked for, and not a tick longer."""
    at = rig()
    assert waited(at, pause(at, 0.35))[0] == pytest.approx(0.35)


@pytest.mark.parametrize(("true_from_s", "expected"), [(0.2, (0.2, True)), (9.0, (0.5, False))])
def test_waiting_for_something_ends_with_it_or_with_the_time(true_from_s: float, expected: tuple[float, bool]) -> None:
    """True when it came in time, False when the time ran out first."""
    at = rig()
    took_s, came = waited(at, until(at, lambda: at.now_s >= true_from_s - 1e-9, 0.5))
    assert took_s == pytest.approx(expected[0], abs=1.5 * TICK_S)
    assert came is expected[1]


@pytest.mark.parametrize(
    ("stopped_s", "expected_s"),
    [(-1e9, 0.2), (10.0, 0.2), (9.85, 0.05), (9.5, 0.0)],
    ids=["not known", "just now", "a while ago", "long ago"],
)
def test_the_way_counts_as_dripping_and_a_jet_of_which_nothing_is_known_does_not(
    stopped_s: float, expected_s: float
) -> None:
    """The bench asks for 0.2 s from the jet's end to the touch; at 10 s the rod has arrived."""
    at = rig()
    at.locks.since_s[Output.WATER] = stopped_s
    assert waited(at, drip(at), from_s=10.0)[0] == pytest.approx(10.0 + expected_s, abs=1.5 * TICK_S)
