"""The bus in one process: a run at one end, listeners at the other."""

from __future__ import annotations

import asyncio
import os
import stat
from collections.abc import Callable, Coroutine, Iterator
from pathlib import Path
from threading import Event as Flag
from threading import Thread
from typing import Any

import pytest

import controller.bus.listener as listener_module
from controller.bus.bus import LAG_MOST, Bus
from controller.bus.listener import Gone, Listener, ask, look_at, running
from controller.bus.place import BusError, place_of
from controller.core.events import HoleFinished, PromptAnswered, Proven, RunEnded, Said
from controller.core.requests import Answer, HoldRequest, PauseRequest, Request
from controller.core.snapshot import Snapshot
from tests.bus.stage import PROMPT, served, snapshot

DEADLINE_S = 20.0
FINISHED = HoleFinished(9.0, 1, 3.0, 3.0, "through", "", 1.0, 8.0, 7.0, 1.0, 0.1, 0.5, 1.49, 0.01, 2, 0)


@pytest.fixture(autouse=True)
def _runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


@pytest.fixture
def bus(tmp_path: Path) -> Iterator[Bus]:
    with served(tmp_path / "run") as made:
        yield made


class Attended:
    """Looks after a bus in the background, as a run does, while the block runs."""

    def __init__(self, bus: Bus) -> None:
        self._bus, self._over = bus, Flag()
        self.taken: list[Request] = []
        self._thread = Thread(target=self._attend)

    def _attend(self) -> None:
        while not self._over.is_set():
            if self._bus.asked.poll(5):
                self.taken += self._bus.requests()

    def __enter__(self) -> Attended:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.leave()

    def leave(self) -> None:
        """Stop looking after it."""
        self._over.set()
        self._thread.join()


def watch(bus: Bus, told: Callable[[Listener], Coroutine[Any, Any, None]]) -> list[Request]:
    """Let a listener at the bus do something; returns what was asked of the run meanwhile."""

    async def listen() -> None:
        async with Listener(Path(bus.picture.about.run)) as listener:
            await told(listener)

    with Attended(bus) as attended:
        asyncio.run(asyncio.wait_for(listen(), DEADLINE_S))
    return attended.taken


async def heard(listener: Listener, bus: Bus) -> None:
    """Tell something again and again until the listener hears: joining takes a moment whose end nobody can see."""
    waiting = asyncio.create_task(listener.next())
    while not waiting.done():
        bus.hear(Said(0.0, "can you hear me"))
        await asyncio.sleep(0.002)
    bus.hear(last := Said(0.0, "good"))
    while await listener.next() != last:
        pass


def test_a_newcomer_is_handed_the_whole_picture(bus: Bus) -> None:
    for number in range(5):
        bus.see(snapshot(number * 0.1))
    for event in (FINISHED, Proven(10.0, 0.1, 4.2), PROMPT):
        bus.hear(event)

    async def told(listener: Listener) -> None:
        assert listener.picture == bus.picture

    watch(bus, told)
    assert bus.picture.finished == {1: FINISHED}
    assert bus.picture.prompt == PROMPT


def test_a_listener_keeps_the_same_picture_as_the_run(bus: Bus) -> None:
    async def told(listener: Listener) -> None:
        await heard(listener, bus)
        bus.see(snapshot(1.0))
        bus.hear(PROMPT)
        bus.hear(PromptAnswered(13.0, 1, "done", ""))
        kinds = [type(await listener.next()) for _ in range(3)]
        assert kinds == [Snapshot, type(PROMPT), PromptAnswered]
        assert listener.picture == bus.picture
        assert listener.picture.prompt is None

    watch(bus, told)


def test_who_lags_behind_misses_messages_and_asks_for_the_picture_again(bus: Bus) -> None:
    """The run never waits: it tells far more than is kept for anybody."""

    async def told(listener: Listener) -> None:
        await heard(listener, bus)
        for number in range(20 * LAG_MOST):
            bus.see(snapshot(number * 0.1))
        bus.hear(FINISHED)
        while not listener.picture.finished:
            try:
                await asyncio.wait_for(listener.next(), 0.2)
            except TimeoutError:
                bus.see(snapshot(5000.0))  # what comes after a loss shows it
        assert listener.picture.finished == {1: FINISHED}

    watch(bus, told)


def test_requests_are_taken_or_refused_in_words(bus: Bus) -> None:
    bus.hear(PROMPT)

    async def told(listener: Listener) -> None:
        assert await listener.ask(PauseRequest("a look")) == ""
        assert await listener.ask(Answer(1, "done", "1.49")) == ""
        assert await listener.ask(Answer(2, "done")) == "this prompt doesn't wait any more"
        assert await listener.ask(Answer(1, "never")) == "'never' is no answer here; answer one of: done, end"
        bus.hear(RunEnded(14.0, "held", "enough"))
        assert await listener.ask(HoldRequest("too late")) == "the run is over: held"

    assert watch(bus, told) == [PauseRequest("a look"), Answer(1, "done", "1.49")]


def test_one_question_needs_no_listener(bus: Bus) -> None:
    run = Path(bus.picture.about.run)
    with Attended(bus) as attended:
        assert look_at(run) == bus.picture
        assert ask(run, PauseRequest("a look")) == ""
        assert running() == [run.resolve()]
    assert attended.taken == [PauseRequest("a look")]


def test_the_end_is_told_and_then_nobody_is_there(bus: Bus) -> None:
    run = Path(bus.picture.about.run)

    async def told(listener: Listener) -> None:
        await heard(listener, bus)
        bus.hear(RunEnded(14.0, "complete", "all of it"))
        assert isinstance(await listener.next(), RunEnded)

    watch(bus, told)
    folder = place_of(run).folder
    bus.close("complete")
    assert not folder.exists()
    with pytest.raises(BusError, match="no process is running this job now"):
        look_at(run)
    assert running() == []


def test_a_process_that_is_killed_is_noticed_by_its_silence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is said any more, and nobody answers when asked."""
    monkeypatch.setattr(listener_module, "SILENT_S", 0.05)
    monkeypatch.setattr(listener_module, "ANSWER_S", 0.5)
    run = tmp_path / "run"

    async def listen(attended: Attended) -> None:
        async with Listener(run) as listener:
            attended.leave()
            with pytest.raises(Gone, match="doesn't answer any more"):
                await listener.next()

    with served(run) as bus, Attended(bus) as attended:
        asyncio.run(asyncio.wait_for(listen(attended), DEADLINE_S))


def test_nobody_but_the_owner_may_enter(bus: Bus) -> None:
    folder = place_of(Path(bus.picture.about.run)).folder
    for each in (folder, folder.parent):
        assert stat.S_IMODE(each.stat().st_mode) == 0o700
        assert each.stat().st_uid == os.getuid()


@pytest.mark.parametrize("trap", ["open", "link"])
def test_a_place_that_others_could_have_laid_out_is_refused(tmp_path: Path, trap: str) -> None:
    laid = tmp_path / f"gapwright-{os.getuid()}"
    if trap == "open":
        laid.mkdir()
        laid.chmod(0o755)
    else:
        (tmp_path / "elsewhere").mkdir(mode=0o700)
        laid.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(BusError, match="nobody else may enter"):
        place_of(tmp_path / "run")


def test_what_is_no_message_of_ours_is_answered_and_harms_nothing(bus: Bus) -> None:
    async def told(listener: Listener) -> None:
        for nonsense in (b"", b"\xff\x00", b"[]", b"{}", b'{"ask":"end","why":1}'):
            await listener._asked.send(nonsense)
            assert b"refused" in await listener._asked.recv()

    assert watch(bus, told) == []
