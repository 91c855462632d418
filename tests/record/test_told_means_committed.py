"""Whoever watches is told of nothing that a power cut could still undo."""

from __future__ import annotations

import socket
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.clerk import Clerk
from controller.core.events import Event, Noticed
from controller.herald import Feed
from controller.host.outlet import Begin, Outlet
from controller.record.journal import Journal, StopRecord, read_journal
from tests.bus.stage import EXPECTED_S
from tests.record.made_up import START, places

EVENT = Noticed(1.0, "loop", "a hole is through")


class Desk:
    """A clerk at work, and what the herald hears of it."""

    def __init__(self, folder: Path) -> None:
        ours, self._far = socket.socketpair()
        self._feed = Feed(self._far)
        self.folder = folder
        self.clerk = Clerk(
            Begin(folder, START, tuple(places(9)), b"", EXPECTED_S), Outlet(ours), quiet=True, answered=False
        )
        self.clerk.settle()
        assert [type(item) for item in self.heard()] == [Begin]

    def finish(self) -> list[object]:
        """The clerk ends; returns what has come out by then."""
        self.clerk.finish()
        with self._far:
            return self.heard()

    def heard(self) -> list[object]:
        """What has come out since the last call."""
        try:
            return list(self._feed.items())
        except BlockingIOError:
            return []


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    desk = Desk(tmp_path / "run")
    yield desk
    desk.finish()


def on_the_disk(folder: Path) -> list[Event]:
    """What another program finds there while the run goes on."""
    return list(read_journal(folder).events)


def test_nothing_is_told_before_the_commit_and_all_of_it_after(desk: Desk) -> None:
    desk.clerk.take(EVENT)
    assert desk.heard() == []
    desk.clerk.settle()
    assert desk.heard() == [EVENT]
    assert on_the_disk(desk.folder) == [EVENT]


def test_a_disk_that_takes_nothing_keeps_the_herald_silent_until_it_does(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(Journal, "commit", _full)
        desk.clerk.take(EVENT)
        with pytest.raises(sqlite3.OperationalError):
            desk.clerk.settle()
        assert desk.heard() == []
    desk.clerk.settle()
    assert desk.heard() == [EVENT]


def test_the_last_words_come_once_the_stop_is_on_the_disk(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "run")
    desk.clerk.take(
        StopRecord(outcome="held", reason="a look", machine_s=2.0, wall_s=2.0, stopped_utc="2026-01-01T00:00:00Z")
    )
    desk.clerk.settle()
    assert desk.heard() == []
    assert desk.finish() == ["held: a look"]


def _full(_journal: Journal) -> None:
    raise sqlite3.OperationalError("database or disk is full")
