"""Numbered lines with a checksum, and those kept back in case the board asks for them again."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from functools import reduce
from operator import xor

from controller.link.outstanding import Line

# Lines kept after their answer: more than a board can hold back (4 in its queue and as many as its ring takes). Chosen.
KEPT_LINES = 16


def checksum(text: str) -> int:
    """XOR of all bytes before the asterisk (wires.md)."""
    return reduce(xor, text.encode("ascii"), 0)


def numbered(number: int, words: str) -> str:
    """`N<number> <words>*<checksum>`."""
    text = f"N{number} {words}"
    return f"{text}*{checksum(text)}"


class Numbering:
    """Counts lines, and remembers the latest.

    Attributes:
        next: Number of the next line.
    """

    __slots__ = ("_kept", "next")

    def __init__(self) -> None:
        self.next = 1
        self._kept: deque[Line] = deque(maxlen=KEPT_LINES)

    def restart(self) -> None:
        """The board counts from the beginning (`M110 N0`)."""
        self.next = 1
        self._kept.clear()

    def keep(self, line: Line) -> None:
        """Remember a line that was numbered with `next`."""
        self._kept.append(line)
        self.next += 1

    def since(self, number: int) -> Sequence[Line] | None:
        """The lines from this number on; None when they are not there any more, or never were."""
        if number == self.next:
            return []
        lines = [line for line in self._kept if line.number >= number]
        return lines if lines and lines[0].number == number else None
