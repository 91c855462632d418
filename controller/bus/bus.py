"""The bus of a run, at the side of the run: tells everybody who listens, and takes what they ask.

Nothing here ever waits. Who listens too slowly misses messages, sees so by their numbers and asks for the whole picture
again; who dies is forgotten.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import zmq

from controller.bus.messages import MessageError, event_fields, packed, request_of, snapshot_fields, unpacked
from controller.bus.picture import About, RunPicture
from controller.bus.place import BusError, Place, place_of
from controller.core.events import Event
from controller.core.requests import Answer, Request
from controller.core.snapshot import Snapshot

# Messages kept for a listener that lags: half a minute of snapshots. Chosen: it may be suspended for a moment.
LAG_MOST: Final = 300
# What is asked for in one go at the most, so that a flood of requests can't keep the run from its own work. Chosen.
REQUESTS_MOST: Final = 20
# How long the last words may take to reach those who listen (ms). Chosen.
FAREWELL_MS: Final = 500


class Bus:
    """The bus of one run.

    Args:
        about: What is being run; the place follows from its folder.

    Raises:
        BusError: There is no private place for it.
    """

    def __init__(self, about: About) -> None:
        self.picture = RunPicture(about)
        self._number = 0
        self._place = place_of(Path(about.run))
        self._place.make(Path(about.run))
        self._context: zmq.Context[zmq.Socket[bytes]] = zmq.Context()
        self._told = self._context.socket(zmq.PUB)
        self._told.set_hwm(LAG_MOST)
        self._asked = self._context.socket(zmq.ROUTER)
        self._asked.set_hwm(LAG_MOST)
        _bind(self._told, self._place.told, self._place)
        _bind(self._asked, self._place.asked, self._place)

    @property
    def asked(self) -> zmq.Socket[bytes]:
        """The socket on which requests come in, to be waited for by whoever can."""
        return self._asked

    def see(self, snapshot: Snapshot) -> None:
        """Tell a snapshot."""
        self.picture.see(snapshot)
        self._tell({"snapshot": snapshot_fields(snapshot)})

    def hear(self, event: Event) -> None:
        """Tell an event."""
        self.picture.hear(event)
        self._tell({"event": event_fields(event)})

    def requests(self) -> list[Request]:
        """What was asked of the run since the last call; whoever asked is told whether it is taken."""
        taken: list[Request] = []
        for _ in range(REQUESTS_MOST):
            try:
                whose, *content = self._asked.recv_multipart(zmq.DONTWAIT)
            except zmq.Again:
                break
            reply, request = self._answered(content[-1] if content else b"")
            if request is not None:
                taken.append(request)
            try:
                self._asked.send_multipart([whose, packed(reply)], zmq.DONTWAIT)
            except zmq.ZMQError:
                continue  # whoever asked takes no answer any more
        return taken

    def close(self, words: str) -> None:
        """Say that the process goes, and why, and close; once."""
        if self._told.closed:
            return
        self._tell({"gone": words})
        self._told.close(linger=FAREWELL_MS)
        self._asked.close(linger=FAREWELL_MS)
        self._context.term()
        self._place.clear()

    def _tell(self, message: dict[str, Any]) -> None:
        self._number += 1
        self._told.send(packed({"number": self._number, **message}), zmq.DONTWAIT)

    def _answered(self, content: bytes) -> tuple[dict[str, Any], Request | None]:
        """The reply to what came in, and the request that it held."""
        try:
            message = unpacked(content)
            question = message.pop("question", None)
            if message.get("ask") == "picture":
                return {"question": question, "number": self._number, "picture": self.picture.whole()}, None
        except MessageError as error:
            return {"refused": str(error)}, None
        try:
            request = request_of(message)
        except MessageError as error:
            return {"question": question, "refused": str(error)}, None
        refused = self._refused(request)
        return {"question": question, "refused": refused}, None if refused else request

    def _refused(self, request: Request) -> str:
        """Why a request is pointless now; empty when it is not."""
        prompt = self.picture.prompt
        if self.picture.ended is not None:
            return f"the run is over: {self.picture.ended.outcome}"
        if isinstance(request, Answer):
            if prompt is None or prompt.prompt != request.prompt:
                return "this prompt doesn't wait any more"
            if request.choice not in prompt.choices:
                return f"{request.choice!r} is no answer here; answer one of: {', '.join(prompt.choices)}"
        return ""


def _bind(bound: zmq.Socket[bytes], address: str, place: Place) -> None:
    try:
        bound.bind(address)
    except zmq.ZMQError as error:
        raise BusError(f"{place.folder}: the run can't be watched from here ({error.strerror})") from error
