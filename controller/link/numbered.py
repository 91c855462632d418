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
    """Counts lines, remembers the latest, and keeps account of requests to send again.

    A request carries an `ok` of its own, which answers no line (wires.md).

    Attributes:
        next: Number of the next line.
        wanted: The line that was asked for and not yet sent again.
        rounds: Times that lines were sent again since the board last took one.
    """

    __slots__ = ("_kept", "_own_oks", "next", "rounds", "wanted")

    def __init__(self) -> None:
        self.next = 1
        self._kept: deque[Line] = deque(maxlen=KEPT_LINES)
        self.forget()

    def forget(self) -> None:
        """Never send any of the old lines again: whatever the board asks for, it is not what it was."""
        self._kept.clear()
        self.wanted: int | None = None
        self._own_oks = self.rounds = 0

    def restart(self) -> None:
        """The board counts from the beginning (`M110 N0`)."""
        self.forget()
        self.next = 1

    def keep(self, line: Line) -> None:
        """Remember a line that was numbered with `next`."""
        self._kept.append(line)
        self.next += 1

    def asked_again(self, number: int) -> None:
        """The board asks for a line, and for all after it, again."""
        self.wanted = number
        self._own_oks += 1

    def takes(self) -> bool:
        """True when an `ok` answers a line, and is not a request's own."""
        if self._own_oks:
            self._own_oks -= 1
            return False
        self.rounds = 0
        return True

    def again(self) -> Sequence[Line] | None:
        """The lines to be sent again now; None when they are not there any more, or never were."""
        number, self.wanted = self.wanted, None
        self.rounds += 1
        if number is None or number == self.next:
            return []
        lines = [line for line in self._kept if line.number >= number]
        return lines if lines and lines[0].number == number else None
