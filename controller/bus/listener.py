"""The bus of a run, at the side of whoever watches it or asks something of it."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any, Final

import zmq
import zmq.asyncio

from controller.bus.messages import MessageError, event_of, packed, request_fields, snapshot_of, unpacked
from controller.bus.picture import RunPicture, picture_of
from controller.bus.place import BusError, Place, place_of, places
from controller.core.events import Event
from controller.core.requests import Request
from controller.core.snapshot import Snapshot

# How long a process may take to answer (s): it is asked at its next look, and may be held up by the system. Chosen.
ANSWER_S: Final = 2.0
# A run tells something ten times a second; silent for so long, it is asked whether it is still there (s). Chosen.
SILENT_S: Final = 3.0


class Gone(Exception):
    """The process of the run is there no more; the text says what it said last, or that it fell silent."""


class Listener:
    """Follows one run. Used as `async with Listener(run) as listener`.

    Raises:
        BusError: Nobody serves this run.

    Attributes:
        picture: The run as it stands.
    """

    def __init__(self, run: Path) -> None:
        self._run = run
        self._place = place_of(run)
        self._number = 0
        self._context = zmq.asyncio.Context()
        self._told = self._context.socket(zmq.SUB)
        self._asking = asyncio.Lock()
        self._asked = self._context.socket(zmq.DEALER)
        self._questions = 0
        self.picture: RunPicture

    async def __aenter__(self) -> Listener:
        self._told.subscribe(b"")
        self._told.connect(self._place.told)
        self._asked.connect(self._place.asked)
        try:
            await self._look_anew()
        except Gone as gone:
            self.close()
            raise BusError(nobody(self._run)) from gone
        return self

    async def __aexit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Stop listening."""
        self._context.destroy(linger=0)

    async def next(self) -> Event | Snapshot:
        """The next that is told, after the picture has taken it. Raises Gone when nothing more will be."""
        while True:
            message = await self._heard()
            number = message.get("number", 0)
            if "gone" in message:
                raise Gone(str(message["gone"]))
            if number <= self._number:
                continue  # the picture held it already
            if number > self._number + 1:
                await self._look_anew()
                if number <= self._number:
                    continue
            self._number = number
            if "snapshot" in message:
                snapshot = snapshot_of(message["snapshot"])
                self.picture.see(snapshot)
                return snapshot
            event = event_of(message["event"])
            self.picture.hear(event)
            return event

    async def ask(self, request: Request) -> str:
        """Ask something of the run; returns why it is refused, empty when it is taken. Raises Gone."""
        reply = await self._reply(request_fields(request))
        return str(reply.get("refused", ""))

    async def _heard(self) -> dict[str, Any]:
        while True:
            try:
                content = await asyncio.wait_for(self._told.recv(), SILENT_S)
                return unpacked(content)
            except TimeoutError:
                await self._reply({"ask": "picture"})  # raises Gone when nobody is there
            except MessageError:
                continue

    async def _look_anew(self) -> None:
        reply = await self._reply({"ask": "picture"})
        self.picture = picture_of(reply["picture"])
        self._number = reply["number"]

    async def _reply(self, message: dict[str, Any]) -> dict[str, Any]:
        self._questions += 1
        question = self._questions
        await self._asked.send(packed({"question": question, **message}))
        try:
            return await asyncio.wait_for(self._reply_to(question), ANSWER_S)
        except (TimeoutError, MessageError) as error:
            raise Gone("the process of the run doesn't answer any more") from error

    async def _reply_to(self, question: int) -> dict[str, Any]:
        """The reply to this question; one that came too late for an earlier question is dropped."""
        async with self._asking:
            while True:
                reply = unpacked(await self._asked.recv())
                if reply.get("question") == question:
                    return reply


def nobody(run: Path) -> str:
    """What to say when nobody serves a run."""
    return f"{run}: no process is running this job now; `gapwright report {run}` tells how far it got"


def look_at(run: Path) -> RunPicture:
    """The picture of a run, once. Raises BusError when nobody serves it."""
    reply = _once(place_of(run), {"ask": "picture"}, ANSWER_S)
    if reply is None:
        raise BusError(nobody(run))
    return picture_of(reply["picture"])


def ask(run: Path, request: Request) -> str:
    """Ask something of a run; returns why it is refused, empty when it is taken. Raises BusError."""
    reply = _once(place_of(run), request_fields(request), ANSWER_S)
    if reply is None:
        raise BusError(nobody(run))
    return str(reply.get("refused", ""))


def running() -> list[Path]:
    """The folders of all runs of this user that somebody serves now."""
    found = []
    for place in places():
        run = place.run()
        if run is not None and _once(place, {"ask": "picture"}, ANSWER_S) is not None:
            found.append(run)
    return found


def _once(place: Place, message: dict[str, Any], wait_s: float) -> dict[str, Any] | None:
    """The reply to one message; None when nobody answers in time."""
    if not place.folder.is_dir():
        return None
    with zmq.Context() as context, context.socket(zmq.DEALER) as asked:
        asked.setsockopt(zmq.LINGER, 0)
        asked.connect(place.asked)
        asked.send(packed(message))
        if not asked.poll(int(wait_s * 1000)):
            return None
        try:
            return unpacked(asked.recv())
        except MessageError:
            return None
