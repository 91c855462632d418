"""A run told over MQTT, against a real broker: there, down, restarted, unwilling, and flooding."""

from __future__ import annotations

import asyncio
import gc
import json
import multiprocessing
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import aiomqtt
import pytest

from controller.bus.listener import Gone
from controller.bus.picture import RunPicture
from controller.core.events import Event, HoleFinished, PromptAnswered, RunEnded
from controller.core.requests import PauseRequest, Request
from controller.core.snapshot import Snapshot
from controller.mqtt import publisher
from controller.mqtt.publisher import Publisher
from controller.settings.broker import Broker
from tests.mqtt.broker import (
    PASSWORD,
    RealBroker,
    free_port,
    needs_broker,
    needs_openssl,
    with_certificate,
    with_password,
)
from tests.tui import pictures

DEADLINE_S = 20.0
PREFIX = "gapwright/virtual"


class Run:
    """A run that tells what it is given."""

    def __init__(self) -> None:
        self.picture: RunPicture = pictures.eroding()
        self.asked: list[Request] = []
        self._told: asyncio.Queue[Event | Snapshot | None] = asyncio.Queue()

    def tell(self, told: Event | Snapshot) -> None:
        if isinstance(told, Snapshot):
            self.picture.see(told)
        else:
            self.picture.hear(told)
        self._told.put_nowait(told)

    def end(self) -> None:
        self._told.put_nowait(None)

    async def next(self) -> Event | Snapshot:
        told = await self._told.get()
        if told is None:
            raise Gone("over")
        return told

    async def ask(self, request: Request) -> str:
        self.asked.append(request)
        return ""


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Attempts follow each other at once, and a farewell that can't be said is soon over: a test is not to wait."""
    monkeypatch.setattr(publisher, "FAREWELL_S", 0.5)
    monkeypatch.setattr(publisher, "AGAIN_S", (0.05, 0.1))


@pytest.fixture
def real(tmp_path: Path) -> Iterator[RealBroker]:
    broker = RealBroker(tmp_path)
    broker.start()
    yield broker
    broker.stop()


@asynccontextmanager
async def telling(broker: Broker, password: str = "") -> AsyncIterator[tuple[Run, list[str]]]:
    """A run that is told while the block runs, and what was said of it."""
    run, said = Run(), []
    task = asyncio.create_task(Publisher(run, broker, password, said.append).serve())
    try:
        yield run, said
    finally:
        run.end()
        await asyncio.wait_for(task, DEADLINE_S)


async def heard(port: int, until: Callable[[dict[str, dict[str, object]]], bool]) -> dict[str, dict[str, object]]:
    """Listen, retained messages included, until it is enough; the last message of each topic."""
    found: dict[str, dict[str, object]] = {}

    async def listen() -> None:
        async with aiomqtt.Client("127.0.0.1", port) as client:
            await client.subscribe(f"{PREFIX}/#")
            async for message in client.messages:
                found[str(message.topic).rpartition("/")[2]] = json.loads(bytes(message.payload))  # type: ignore[arg-type]
                if until(found):
                    return

    await asyncio.wait_for(listen(), DEADLINE_S)
    return found


async def becomes(true: Callable[[], object]) -> None:
    async def wait() -> None:
        while not true():
            await asyncio.sleep(0.01)

    await asyncio.wait_for(wait(), DEADLINE_S)


def finished(number: int) -> HoleFinished:
    return HoleFinished(9.0, number, 3.0, 3.0, "through", "", 1.0, 8.0, 7.0, 1.0, 0.1, 0.5, 1.49, 0.01, 2, 0)


@needs_broker
async def test_whoever_comes_late_finds_everything_retained(real: RealBroker) -> None:
    async with telling(Broker(host="127.0.0.1", port=real.port)) as (run, _):
        run.tell(finished(57))
        run.tell(pictures.ADVANCE)
        told = await heard(real.port, lambda seen: {"state", "job", "hole", "electrode", "alarm"} <= set(seen))
        assert told["state"]["online"] is True
        assert (told["job"]["holes_through"], told["job"]["holes_total"]) == (55, 320)
        assert told["hole"]["hole"] == 57
        await heard(real.port, lambda seen: seen.get("alarm", {}).get("kind") == "prompt")
        run.tell(PromptAnswered(13.0, 1, "done", ""))
        await heard(real.port, lambda seen: seen.get("alarm", {}).get("kind") == "none")


@needs_broker
async def test_the_end_is_told_and_stays(real: RealBroker) -> None:
    async with telling(Broker(host="127.0.0.1", port=real.port)) as (run, _):
        await heard(real.port, lambda seen: "state" in seen)
        run.tell(RunEnded(14.0, "complete", "all of it"))
    told = await heard(real.port, lambda seen: {"state", "job"} <= set(seen))
    assert told["state"]["online"] is False
    assert told["job"]["outcome"] == "complete"


def tell_for_ever(port: int) -> None:
    """A teller in a process of its own."""
    asyncio.run(Publisher(Run(), Broker(host="127.0.0.1", port=port), "", print).serve())


@needs_broker
async def test_a_teller_that_is_killed_leaves_its_last_will(real: RealBroker) -> None:
    process = multiprocessing.get_context("spawn").Process(target=tell_for_ever, args=(real.port,), daemon=True)
    process.start()
    await heard(real.port, lambda seen: bool(seen.get("state", {}).get("online")))
    process.kill()
    process.join()
    await heard(real.port, lambda seen: seen.get("state", {}).get("online") is False)


@needs_broker
async def test_a_broker_that_is_down_and_comes_back_is_told_everything(tmp_path: Path) -> None:
    real = RealBroker(tmp_path)
    try:
        async with telling(Broker(host="127.0.0.1", port=real.port)) as (run, said):
            await becomes(lambda: said)
            assert "trying again" in said[0]
            run.tell(finished(57))
            real.start()
            assert (await heard(real.port, lambda seen: "hole" in seen))["hole"]["hole"] == 57
            real.stop()
            run.tell(finished(58))
            real.start()
            await heard(real.port, lambda seen: seen.get("hole", {}).get("hole") == 58 and "state" in seen)
            assert len(said) <= 6, "a trouble is said once"
    finally:
        real.stop()


@needs_broker
async def test_bad_credentials_are_said_and_good_ones_taken(tmp_path: Path) -> None:
    real = RealBroker(tmp_path, with_password(tmp_path))
    real.start()
    try:
        broker = Broker(host="127.0.0.1", port=real.port, user="maker")
        async with telling(broker, "wrong") as (_, said):
            await becomes(lambda: said)
            assert "authori" in said[0].lower()
        async with telling(broker, PASSWORD) as (_, said):
            await becomes(lambda: not said and real)
            await asyncio.sleep(0.3)
            assert said == []
    finally:
        real.stop()


# The library leaves a socket open when a certificate is refused.
@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
@needs_broker
@needs_openssl
async def test_a_certificate_that_nobody_vouches_for_is_refused(tmp_path: Path) -> None:
    real = RealBroker(tmp_path, with_certificate(tmp_path))
    real.start()
    try:
        async with telling(Broker(host="localhost", port=real.port, tls=True)) as (_, said):
            await becomes(lambda: said)
            assert "certificate" in said[0].lower()
        known = Broker(host="localhost", port=real.port, tls=True, ca_file=str(tmp_path / "certificate.pem"))
        async with telling(known) as (_, said):
            await asyncio.sleep(0.3)
            assert said == []
    finally:
        real.stop()
        gc.collect()  # so that what was left open is complained about here


async def flood(port: int, words: bytes, times: int) -> None:
    async with aiomqtt.Client("127.0.0.1", port) as client:
        for _ in range(times):
            await client.publish(f"{PREFIX}/ask", words, qos=0)


@needs_broker
@pytest.mark.parametrize("takes", [True, False])
async def test_a_flood_of_words_holds_once_a_second_at_the_most_and_only_where_switched_on(
    real: RealBroker, takes: bool
) -> None:
    async with telling(Broker(host="127.0.0.1", port=real.port, take_hold=takes)) as (run, _):
        await heard(real.port, lambda seen: "state" in seen)
        await flood(real.port, b"end", 300)
        await flood(real.port, b"hold", 2000)
        if takes:
            await becomes(lambda: run.asked)
        run.tell(finished(57))
        await heard(real.port, lambda seen: seen.get("hole", {}).get("hole") == 57)
        assert set(run.asked) <= {PauseRequest("asked for over MQTT")}
        assert len(run.asked) <= (5 if takes else 0)


async def test_without_a_broker_nothing_piles_up() -> None:
    """The oldest holes are dropped; of everything else only the newest is kept."""
    async with telling(Broker(host="127.0.0.1", port=free_port())) as (run, _):
        for number in range(200):
            run.tell(finished(number))
            run.tell(pictures.at(3000.0 + number))
        await becomes(run._told.empty)
