"""Whoever tells a run over MQTT is minded: a death is put on record, and the telling begins again."""

from __future__ import annotations

import socket
import subprocess
from itertools import pairwise
from pathlib import Path
from time import monotonic, sleep

import pytest

from controller import telling
from controller.clerk import Clerk
from controller.core.events import Noticed
from controller.host.outlet import Begin, Outlet
from controller.record.happenings import happenings
from controller.record.journal import read_journal
from controller.telling import AGAIN_S, Telling
from tests.bus.stage import EXPECTED_S, snapshot
from tests.record.made_up import START, places

REFUSED = ["publish", "no-such-run", "--broker=no-such-file"]
PATIENCE_S = 60.0


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        """What it shows."""
        return self.now_s


def words_of(one: Telling) -> str:
    """Look until something became of it."""
    until_s = monotonic() + PATIENCE_S
    while not (words := one.look()):
        assert monotonic() < until_s
        sleep(0.05)
    return words


def test_a_death_is_told_once_and_the_telling_begins_again() -> None:
    clock = Clock()
    one = Telling(REFUSED, clock)
    assert "exit code 2" in words_of(one)
    assert one.look() == ""
    clock.now_s = AGAIN_S[0]
    assert one.look() == ""
    assert f"again in {2 * AGAIN_S[0]:.0f} s" in words_of(one)


def test_a_death_that_comes_back_is_waited_for_longer_and_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    class Dead:
        def poll(self) -> int:
            return 1

    started: list[float] = []
    clock = Clock()

    def start(*_: object, **__: object) -> Dead:
        started.append(clock.now_s)
        return Dead()

    monkeypatch.setattr(telling.subprocess, "Popen", start)
    one = Telling(REFUSED, clock)
    for second in range(5 * 3600):
        clock.now_s = float(second)
        one.look()
    waits = [b - a for a, b in pairwise(started)]
    assert waits == sorted(waits)
    assert waits[-1] == pytest.approx(AGAIN_S[1], abs=2.0)
    assert len(started) < 40


def test_the_clerk_puts_it_on_record_and_the_story_tells_it(tmp_path: Path) -> None:
    ours, far = socket.socketpair()
    begin = Begin(tmp_path / "run", START, tuple(places(9)), b"", EXPECTED_S, broker=tmp_path / "no-such-file")
    with far:
        clerk = Clerk(begin, Outlet(ours), quiet=True, answered=False)
        until_s = monotonic() + PATIENCE_S
        while not (noticed := _noticed(tmp_path / "run")):
            assert monotonic() < until_s
            clerk.take(snapshot(7.0))
            clerk.settle()
            sleep(0.05)
        clerk.finish()
    assert noticed[0].time_s == 7.0
    assert noticed[0].where == "telling"
    (line,) = happenings(noticed)
    assert "publish" in line.words


def _noticed(run: Path) -> list[Noticed]:
    return [event for event in read_journal(run).events if isinstance(event, Noticed)]


def test_without_a_broker_nobody_is_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(subprocess, "Popen", None)
    ours, far = socket.socketpair()
    with far:
        clerk = Clerk(
            Begin(tmp_path / "run", START, tuple(places(9)), b"", EXPECTED_S), Outlet(ours), quiet=True, answered=False
        )
        clerk.take(snapshot(1.0))
        clerk.finish()
