"""A serial line as a board sees it: bytes take their time, one after the other, both ways."""

from __future__ import annotations

from collections import deque
from math import inf

# A start bit, eight data bits and a stop bit (8N1).
BITS_PER_BYTE = 10.0


class Uart:
    """Both directions of one serial line. Times are the machine's, in seconds, given by the caller.

    Args:
        baud: Bits a second.
        sending_byte_s: Time of one byte sent (s) where the board is slower than the line; None: the line's own.
    """

    __slots__ = ("_arriving", "_byte_s", "_line_free_s", "_sending", "_sending_byte_s", "sent_until_s")

    def __init__(self, baud: int, sending_byte_s: float | None = None) -> None:
        self._byte_s = BITS_PER_BYTE / baud
        self._sending_byte_s = self._byte_s if sending_byte_s is None else sending_byte_s
        self._arriving: deque[tuple[float, int]] = deque()
        self._sending: deque[tuple[float, int]] = deque()
        self._line_free_s = 0.0
        self.sent_until_s = 0.0

    def arrive(self, wire: bytes, now_s: float) -> None:
        """The host puts bytes on the line now; each is there when its last bit is."""
        at_s = max(self._line_free_s, now_s)
        for byte in wire:
            at_s += self._byte_s
            self._arriving.append((at_s, byte))
        self._line_free_s = at_s

    @property
    def next_arrival_s(self) -> float:
        """When the next byte is there, inf when none is on its way."""
        return self._arriving[0][0] if self._arriving else inf

    def take(self) -> int:
        """The byte that has just arrived."""
        return self._arriving.popleft()[1]

    def send(self, wire: bytes, now_s: float) -> None:
        """The board gives bytes to its sender, behind those that still wait there."""
        at_s = max(self.sent_until_s, now_s)
        for byte in wire:
            at_s += self._sending_byte_s
            self._sending.append((at_s, byte))
        self.sent_until_s = at_s

    def waiting(self, now_s: float) -> int:
        """Bytes still in the sender."""
        return max(0, -int(-(self.sent_until_s - now_s) // self._sending_byte_s))

    def sent(self, to_s: float) -> bytes:
        """All bytes whose last bit has gone out by `to_s`, each told once."""
        gone = bytearray()
        while self._sending and self._sending[0][0] <= to_s:
            gone.append(self._sending.popleft()[1])
        return bytes(gone)

    def cut(self) -> None:
        """Whatever was on its way is lost: a board restarts."""
        self._arriving.clear()
        self._sending.clear()
        self._line_free_s = self.sent_until_s = 0.0
