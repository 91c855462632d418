"""Lines as an `ack` board takes them in: receive ring, line numbers, checksums, command queue, requests to resend."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable

NUMBERED = re.compile(r"N(\d+)\s*(.*?)\s*\*\s*(\d+)\s*$")
COUNTER = re.compile(r"M110\b\s*(?:N(\d+))?")


class Intake:
    """From bytes to commands in their order.

    Args:
        ring_bytes: Bytes the ring holds; what comes on top is lost without a word.
        queue_lines: Commands the queue holds.
        say: Sends a line to the host.

    Attributes:
        queue: Commands taken in, the oldest first: (text, line number or None).
        last: Number of the last line that was right.
        lost_bytes: Bytes that found the ring full.
    """

    __slots__ = ("_garbled", "_queue_lines", "_ring", "_ring_bytes", "_say", "last", "lost_bytes", "queue")

    def __init__(self, ring_bytes: int, queue_lines: int, say: Callable[[str], None]) -> None:
        self._ring = bytearray()
        self._ring_bytes = ring_bytes
        self._queue_lines = queue_lines
        self._say = say
        self.queue: deque[tuple[str, int | None]] = deque()
        self.last = 0
        self.lost_bytes = 0
        self._garbled = 0

    @property
    def free(self) -> int:
        """Commands the queue still takes."""
        return self._queue_lines - len(self.queue)

    def byte(self, byte: int) -> None:
        """A byte has arrived."""
        if len(self._ring) < self._ring_bytes:
            self._ring.append(byte)
        else:
            self.lost_bytes += 1

    def collect(self) -> None:
        """Move whole lines from the ring to the queue, as the main loop does between two commands."""
        while self.free:
            end = self._ring.find(b"\n")
            if end < 0:
                return
            line = self._ring[:end].decode("latin-1").split(";")[0].strip()
            del self._ring[: end + 1]
            if line:
                self._take(line)

    def complain(self, why: str) -> None:
        """Ask for the line after the last right one again; what waits in the ring is thrown away."""
        self._ring.clear()
        self._say(f"Error:{why}, Last Line: {self.last}")
        self._say(f"Resend: {self.last + 1}")
        self._say("ok")

    def garble(self, lines: int) -> None:
        """A fault: this many numbered lines to come reach the board with a wrong letter in them."""
        self._garbled = lines

    def clear(self) -> None:
        """A restart."""
        self._ring.clear()
        self.queue.clear()
        self.last = 0

    def _take(self, line: str) -> None:
        if not line.startswith("N"):
            self.queue.append((line, None))
            return
        form = NUMBERED.match(line)
        if form is None:
            self.complain("No Checksum with line number")
            return
        number, command = int(form[1]), form[2]
        garbled = self._garbled > 0
        self._garbled -= garbled
        if garbled or checksum(line.rpartition("*")[0]) != int(form[3]):
            self.complain("checksum mismatch")
            return
        counter = COUNTER.match(command)
        if counter is not None:
            number = int(counter[1] or number)
        elif number != self.last + 1:
            self.complain("Line Number is not Last Line Number+1")
            return
        self.last = number
        self.queue.append((command, number))


def checksum(text: str) -> int:
    """XOR of everything before the star (wires.md)."""
    folded = 0
    for byte in text.encode("latin-1"):
        folded ^= byte
    return folded
