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
from controller.core.requests import PauseRequest
from controller.herald import be_herald
from controller.host.line import Line
from controller.host.outlet import Begin
from tests.bus.stage import EXPECTED_S, PROMPT, snapshot
from tests.record.made_up import START, places

DEADLINE_S = 20.0


@dataclass
class Heralded:
    """A loop's line, the herald at its other end, and the run folder."""

    line: Line
    process: BaseProcess
    run: Path


@pytest.fixture
def heralded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Heralded]:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    ours, theirs = socket.socketpair()
    process = multiprocessing.get_context("spawn").Process(target=be_herald, args=(theirs,), daemon=True)
    process.start()
    theirs.close()
    line = Line(ours)
    run = tmp_path / "run"
    line.outlet.put(Begin(run, START, tuple(places(9)), b"", EXPECTED_S))
    line.outlet.put(snapshot(1.0))
    line.outlet.put(PROMPT)
    line.outlet.flush()
    wait_for(lambda: watched(run))
    try:
        yield Heralded(line, process, run)
    finally:
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
    heralded.line.outlet.finish()
    heralded.process.join(DEADLINE_S)
    assert not place_of(heralded.run).folder.exists()


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
