"""The desk of a run: signals, answers and a broken record become requests; nothing here waits for anybody."""

from __future__ import annotations

import signal
import socket
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from controller.core.requests import HoldRequest
from controller.host.desk import RunDesk
from controller.host.front_desk import INTERRUPTED, NO_RECORD, STAND_DOWN_S
from controller.host.outlet import Outlet
from controller.host.stop_signals import SIGNALS, StopSignals, stop_signals


@pytest.fixture
def outlet() -> Iterator[Outlet]:
    ours, theirs = socket.socketpair()
    yield Outlet(ours)
    ours.close()
    theirs.close()


def session(**changed: Any) -> Any:
    return SimpleNamespace(**{"driving": True, "ended": None, "waiting": None, **changed})


def desk(outlet: Outlet, stop: StopSignals) -> RunDesk:
    return RunDesk(outlet, lambda: None, stop, None, captures=False)  # type: ignore[arg-type, return-value]


def test_the_first_signal_asks_for_an_orderly_end_once_and_the_second_cuts(outlet: Outlet) -> None:
    stop = StopSignals()
    asks = desk(outlet, stop)
    assert not asks.requests(session(), 1.0)
    assert not asks.cut(session(), 1.0)
    stop.ask(signal.SIGTERM, None)
    assert list(asks.requests(session(), 2.0)) == [HoldRequest(INTERRUPTED)]
    assert not asks.requests(session(), 2.01)
    assert not asks.cut(session(), 2.02)
    stop.ask(signal.SIGINT, None)
    assert asks.cut(session(), 2.03)


def test_an_orderly_end_that_takes_too_long_is_cut(outlet: Outlet) -> None:
    stop = StopSignals()
    asks = desk(outlet, stop)
    stop.ask(signal.SIGTERM, None)
    asks.requests(session(), 1.0)
    assert not asks.cut(session(), 1.0 + STAND_DOWN_S)
    assert asks.cut(session(), 1.1 + STAND_DOWN_S)
    assert not asks.cut(session(ended="yes"), 1.1 + STAND_DOWN_S)


def test_before_anything_moved_one_signal_is_enough(outlet: Outlet) -> None:
    stop = StopSignals()
    asks = desk(outlet, stop)
    stop.ask(signal.SIGINT, None)
    assert not asks.requests(session(driving=False), 1.0)
    assert asks.cut(session(driving=False), 1.0)


def test_a_run_whose_record_is_broken_ends(outlet: Outlet) -> None:
    asks = desk(outlet, StopSignals())
    outlet.broken = True
    assert list(asks.requests(session(), 1.0)) == [HoldRequest(NO_RECORD)]


def test_a_prompt_nobody_can_answer_ends_the_run(outlet: Outlet) -> None:
    asks = desk(outlet, StopSignals())
    (request,) = asks.requests(session(waiting=SimpleNamespace(what_happened="the rod is short")), 1.0)
    assert request == HoldRequest("the operator is needed: the rod is short")


@pytest.fixture(name="heeded")
def _heeded() -> Iterator[None]:
    """Signals as a foreground program has them: whoever starts the tests in the background ignores SIGINT."""
    before = [signal.signal(number, signal.SIG_DFL) for number in SIGNALS]
    yield
    for number, handler in zip(SIGNALS, before, strict=True):
        signal.signal(number, handler)


@pytest.mark.usefixtures("heeded")
def test_every_signal_that_asks_to_stop_is_counted_and_given_back_afterwards() -> None:
    before = [signal.getsignal(number) for number in SIGNALS]
    with stop_signals() as stop:
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.raise_signal(number)
        assert stop.count == 2
    assert [signal.getsignal(number) for number in SIGNALS] == before


@pytest.mark.usefixtures("heeded")
def test_a_signal_that_was_ignored_goes_on_being_ignored() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with stop_signals() as stop:
        signal.raise_signal(signal.SIGINT)
        assert stop.count == 0
