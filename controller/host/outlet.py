"""The way out of the loop: what is to be recorded or shown goes to another process, without the loop ever waiting.

Whoever reads at the other end may be slow (a disk that synchronises, a terminal that scrolls); what it has not taken
yet waits here in memory.
"""

from __future__ import annotations

import pickle
import socket
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from controller.plan.ranges import Range
from controller.record.journal import PlacedHole, StartRecord

# A reader this far behind is stuck. Chosen: some hours of a capture.
WAITING_MOST: Final = 64_000_000
# How long the last items may take to be taken at the end (s). Chosen: a disk that has to wake up.
FINISH_S: Final = 60.0
# More than a few words are never said back (bytes).
SAID_MOST: Final = 256


@dataclass(slots=True, frozen=True)
class Begin:
    """The machine is connected: from here on there is a run, in this folder, with this start record.

    Resumed, it goes on with the run of that folder, which began with that record. With a broker file it is told over
    MQTT, too.
    """

    folder: Path
    start: StartRecord
    placed: tuple[PlacedHole, ...]
    capture: bytes
    expected_s: Range
    resumed: bool = False
    broker: Path | None = None


@dataclass(slots=True, frozen=True)
class Captured:
    """Bytes to be added to the capture."""

    record: bytes


class Outlet:
    """The loop's end of the way to whoever keeps the record.

    Attributes:
        broken: The other end has gone, or takes nothing any more.
        trouble: What the other end has said is wrong with the disk; empty while all is well.
    """

    __slots__ = ("_socket", "_waiting", "broken", "trouble")

    def __init__(self, connected: socket.socket) -> None:
        self._socket = connected
        self._socket.setblocking(False)
        self._waiting = bytearray()
        self.broken = False
        self.trouble = ""

    def listen(self) -> None:
        """Hear what the other end has to say."""
        try:
            said = self._socket.recv(SAID_MOST)
        except OSError:  # nothing said; whether it has gone, sending will show
            return
        self.trouble = self.trouble or said.decode("utf-8", "replace").partition("\n")[0]

    def put(self, item: object) -> None:
        """Add an item; it leaves with the next `flush`."""
        self._waiting += pickle.dumps(item, pickle.HIGHEST_PROTOCOL)

    def flush(self) -> None:
        """Send what can be sent at once."""
        if not self._waiting or self.broken:
            return
        try:
            sent = self._socket.send(self._waiting)
            del self._waiting[:sent]
        except BlockingIOError:
            self.broken = len(self._waiting) > WAITING_MOST
        except OSError:
            self.broken = True

    def finish(self) -> None:
        """Send what waits, taking the time it takes, and say that this is all."""
        try:
            self._socket.settimeout(FINISH_S)
            if not self.broken:
                self._socket.sendall(self._waiting)
        except OSError:
            self.broken = True
        finally:
            with suppress(OSError):
                self._socket.shutdown(socket.SHUT_WR)
            self._socket.close()


def items(connected: socket.socket) -> Iterator[Any]:
    """What comes out at the other end, item by item, until the loop has finished or is dead."""
    with connected.makefile("rb") as stream:
        while True:
            try:
                yield pickle.load(stream)  # noqa: S301 (both ends are this program, joined by a socket pair)
            except (EOFError, OSError, pickle.UnpicklingError):  # the last item may be cut off by the loop's death
                return
