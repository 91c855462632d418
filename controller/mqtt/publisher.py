"""Telling a run over MQTT: a watcher like any other, in a process of its own; the loop knows nothing of it.

It reconnects for ever. Inbound there is one word, `hold`, and that only when it was switched on: whoever gets at the
broker can stop the machine then, and never start it.
"""

from __future__ import annotations

import asyncio
import ssl
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Final, Protocol

import aiomqtt

from controller.bus.listener import Gone
from controller.bus.picture import RunPicture
from controller.core.events import Event
from controller.core.requests import PauseRequest, Request
from controller.core.snapshot import Snapshot
from controller.mqtt.outbox import Outbox
from controller.mqtt.payloads import OFFLINE, Payload
from controller.settings.broker import Broker

# From one attempt to reach the broker to the next (s): doubled up to the last. Chosen.
AGAIN_S: Final = (1.0, 30.0)
# A connection that is silent for so long counts as lost (s): MQTT's keep-alive. Chosen: the last will is told soon.
KEEP_ALIVE_S: Final = 15
# How long the last words may take to be told (s). Chosen.
FAREWELL_S: Final = 5.0
# Words that came in and were not looked at yet: more are dropped. One hold a second is passed on at the most. Chosen.
INBOUND_MOST: Final = 20
HOLD_S: Final = 1.0
HOLD: Final = b"hold"
# Told once and for sure by the broker's word (QoS 1); the state comes again in a second (QoS 0).
QOS: Final = {"state": 0}


class Followed(Protocol):
    """A run that is followed: the listener of its bus."""

    picture: RunPicture

    async def next(self) -> Event | Snapshot:
        """The next that is told. Raises Gone."""

    async def ask(self, request: Request) -> str:
        """Ask something; returns why it is refused. Raises Gone."""


class Publisher:
    """Tells one run to one broker.

    Args:
        run: The run that is followed.
        broker: Where it is told.
        password: The password of the broker's user.
        say: Takes words for whoever started it.
    """

    def __init__(self, run: Followed, broker: Broker, password: str, say: Callable[[str], None]) -> None:
        self._run, self._broker, self._password, self._say = run, broker, password, say
        self._outbox = Outbox(run.picture, time.monotonic)
        self._prefix = f"{broker.topic}/{run.picture.about.machine}"
        self._trouble = ""
        self._hold_s = -HOLD_S

    async def serve(self) -> None:
        """Tell until the run is over."""
        telling = asyncio.create_task(self._tell_for_ever())
        try:
            await self._follow()
        finally:
            self._outbox.end()
            with suppress(TimeoutError):
                await asyncio.wait_for(self._told_all(), FAREWELL_S)
            telling.cancel()
            await asyncio.gather(telling, return_exceptions=True)

    async def _follow(self) -> None:
        with suppress(Gone):
            while True:
                self._outbox.take(await self._run.next())

    async def _told_all(self) -> None:
        while not self._outbox.empty:
            await asyncio.sleep(0.02)

    async def _tell_for_ever(self) -> None:
        wait_s = AGAIN_S[0]
        while True:
            try:
                async with self._client() as client:
                    self._say_trouble("")
                    wait_s = AGAIN_S[0]
                    self._outbox.renew()
                    await self._talk(client)
            except (aiomqtt.MqttError, OSError) as error:
                self._say_trouble(f"{self._broker.host}:{self._broker.port}: {error}; trying again")
            await asyncio.sleep(wait_s)
            wait_s = min(2.0 * wait_s, AGAIN_S[1])

    async def _talk(self, client: aiomqtt.Client) -> None:
        """Tell and listen until the connection is lost."""
        tasks = [asyncio.create_task(self._tell(client))]
        if self._broker.take_hold:
            await client.subscribe(f"{self._prefix}/ask", qos=1)
        tasks.append(asyncio.create_task(self._listen(client)))
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_EXCEPTION)
            for task in done:
                task.result()
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def _tell(self, client: aiomqtt.Client) -> None:
        while True:
            topic, payload = await self._outbox.next()
            await client.publish(
                f"{self._prefix}/{topic}", payload.model_dump_json(), qos=QOS.get(topic, 1), retain=True
            )
            self._outbox.done(topic, payload)

    async def _listen(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            now_s = time.monotonic()
            if message.payload == HOLD and not message.retain and now_s - self._hold_s >= HOLD_S:
                self._hold_s = now_s
                refused = await self._run.ask(PauseRequest("asked for over MQTT"))
                self._say(f"hold asked for over MQTT{f'; refused: {refused}' if refused else ''}")

    def _say_trouble(self, trouble: str) -> None:
        """Say a trouble once, and that it is over."""
        if trouble != self._trouble:
            self._say(trouble or "connected")
            self._trouble = trouble

    def _client(self) -> aiomqtt.Client:
        broker = self._broker
        will = aiomqtt.Will(f"{self._prefix}/state", _text(OFFLINE), qos=1, retain=True)
        secured: dict[str, Any] = {}
        if broker.tls:
            secured["tls_context"] = ssl.create_default_context(cafile=broker.ca_file or None)
        return aiomqtt.Client(
            broker.host,
            broker.port,
            username=broker.user or None,
            password=self._password or None,
            will=will,
            keepalive=KEEP_ALIVE_S,
            max_queued_incoming_messages=INBOUND_MOST,
            **secured,
        )


def _text(payload: Payload) -> str:
    return payload.model_dump_json()
