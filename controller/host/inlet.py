"""The way into the loop: what people asked for, handed over by the herald, without the loop ever waiting."""

from __future__ import annotations

import json
import socket
from typing import Final

from controller.bus.messages import request_fields, request_of
from controller.core.requests import Request

READ_BYTES: Final = 4096


class Inlet:
    """The loop's end of the way from the herald: one request a line."""

    __slots__ = ("_partial", "_socket")

    def __init__(self, connected: socket.socket) -> None:
        self._socket = connected
        self._socket.setblocking(False)
        self._partial = b""

    def requests(self) -> list[Request]:
        """What has come in since the last call."""
        try:
            read = self._socket.recv(READ_BYTES)
        except OSError:  # nothing there; or the herald has gone, and nothing will be
            return []
        if not read:
            return []
        *whole, self._partial = (self._partial + read).split(b"\n")
        return [request_of(json.loads(line)) for line in whole]


def request_line(request: Request) -> bytes:
    """A request as the herald hands it in."""
    return json.dumps(request_fields(request)).encode("utf-8") + b"\n"
