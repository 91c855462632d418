"""The herald as a process of its own, between a loop's socket and those who watch."""

from __future__ import annotations

import multiprocessing
import os
import signal
import socket
import time
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest

from controller.bus.listener import ask, look_at
from controller.bus.place import BusError, place_of
from controller.core.events import FaultTripped
from controller.core.requests import PauseRequest
from controller.herald import CLERK_DIED, LOOP_DIED, Herald, be_herald
from controller.host.line import Line
from controller.host.outlet import Begin, Outlet
from tests.bus.stage import EXPECTED_S, PROMPT, snapshot
from tests.record.made_up import START, places

DEADLINE_S = 20.0


@dataclass
class Heralded:
    """A loop's line and a clerk's, the herald at their other ends, and the run folder."""

    line: Line
    clerk: Outlet
    process: BaseProcess
    run: Path


@pytest.fixture
def heralded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Heralded]:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    loop, loop_far = socket.socketpair()
    record, record_far = socket.socketpair()
    process = multiprocessing.get_context("spawn").Process(target=be_herald, args=(loop_far, record_far), daemon=True)
    process.start()
    loop_far.close()
    record_far.close()
    line, clerk = Line(loop), Outlet(record)
    run = tmp_path / "run"
    clerk.put(Begin(run, START, tuple(places(9)), b"", EXPECTED_S))
    clerk.put(PROMPT)
    clerk.flush()
    wait_for(lambda: watched(run))
    line.outlet.put(snapshot(1.0))
    line.outlet.flush()
    try:
        yield Heralded(line, clerk, process, run)
    finally:
        clerk.finish()
        line.outlet.finish()
        process.join(DEADLINE_S)
        assert not process.is_alive()


def watched(run: Path) -> bool:
    """Whether somebody serves the run, and has been told everything."""
    try:
        return look_at(run).prompt is not None
    except BusError:
        return False


def wait_for(true: object) -> None:
    assert callable(true)
    end_s = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < end_s, "never came"
        time.sleep(0.01)


def test_requests_reach_the_loop_and_the_end_closes_the_place(heralded: Heralded) -> None:
    assert ask(heralded.run, PauseRequest("a look")) == ""
    assert heralded.line.inlet.requests() == [PauseRequest("a look")]
    assert heralded.line.inlet.requests() == []
    heralded.clerk.finish()
    heralded.line.outlet.finish()
    heralded.process.join(DEADLINE_S)
    assert not place_of(heralded.run).folder.exists()


def test_what_the_clerk_still_commits_is_told_after_the_loop_died(heralded: Heralded) -> None:
    heralded.line.outlet.finish()
    late = FaultTripped(2.0, "no record", "the last thing committed", "look at the disk")
    heralded.clerk.put(late)
    heralded.clerk.flush()
    wait_for(lambda: late in look_at(heralded.run).told)
    heralded.clerk.finish()
    heralded.process.join(DEADLINE_S)
    assert not place_of(heralded.run).folder.exists()


@pytest.mark.parametrize(
    ("says", "first", "words"),
    [
        ("complete: every hole is through", "clerk", "complete: every hole is through"),
        ("", "loop", LOOP_DIED),
        ("", "clerk", CLERK_DIED),
    ],
)
def test_the_last_words_are_those_of_the_clerk_or_tell_who_died(says: str, first: str, words: str) -> None:
    (loop, loop_far), (record, record_far) = socket.socketpair(), socket.socketpair()
    with loop_far, record_far:
        herald = Herald(loop_far, record_far)
        clerk = Outlet(record)
        if says:
            clerk.put(says)
        ends = {"loop": Outlet(loop).finish, "clerk": clerk.finish}
        ends.pop(first)()
        herald._listen()
        for end in ends.values():
            end()
        herald.serve()
    assert herald._last_words == words


def test_a_killed_herald_costs_the_loop_nothing_but_its_watchers(heralded: Heralded) -> None:
    assert heralded.process.pid is not None
    os.kill(heralded.process.pid, signal.SIGKILL)
    heralded.process.join(DEADLINE_S)
    for number in range(3):
        heralded.line.outlet.put(snapshot(2.0 + number))
        heralded.line.outlet.flush()
    assert heralded.line.outlet.broken
    assert heralded.line.inlet.requests() == []


def test_a_stopped_herald_does_not_hold_the_loop_up(heralded: Heralded) -> None:
    assert heralded.process.pid is not None
    os.kill(heralded.process.pid, signal.SIGSTOP)
    worst_s = 0.0
    for number in range(2000):
        heralded.line.outlet.put(snapshot(2.0 + number))
        began_s = time.perf_counter()
        heralded.line.outlet.flush()
        worst_s = max(worst_s, time.perf_counter() - began_s)
    os.kill(heralded.process.pid, signal.SIGCONT)
    assert not heralded.line.outlet.broken
    assert worst_s < 1.0  # it would have waited for ever
