"""Lines written and not yet answered: which reply belongs to which line, and how much room the board has left.

Replies come in the order of the lines. A reply with no line waiting is a stray and answers nothing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from controller.link.ledger import Piece

# The receive ring of both conventions holds 128 bytes (wires.md); one byte less tells a full ring from an empty one.
RING_BYTES = 127


class Line:
    """One written line.

    Attributes:
        text: Without its end.
        number: Its line number, 0 when it has none.
        piece: The steps it stands for, None when it is no move.
        sent_s: When it was written.
        answer: `ok`, `error:N`, `unknown` or `lost`; empty while it waits.
        reported: What it asked for has come, its `ok` is still to come.
        unknown: The board has said that it does not know this command.
    """

    __slots__ = ("answer", "number", "piece", "reported", "sent_s", "text", "unknown")

    def __init__(self, text: str, sent_s: float, piece: Piece | None = None, number: int = 0) -> None:
        self.text = text
        self.sent_s = sent_s
        self.piece = piece
        self.number = number
        self.answer = ""
        self.reported = self.unknown = False

    @property
    def words(self) -> str:
        """The text without line number and checksum."""
        return self.text.partition(" ")[2].partition("*")[0] if self.number else self.text

    @property
    def size(self) -> int:
        """Bytes on the wire, the line's end counted."""
        return len(self.text) + 1


class Outstanding:
    """The lines that wait for an answer, oldest first."""

    __slots__ = ("_lines",)

    def __init__(self) -> None:
        self._lines: deque[Line] = deque()

    def __len__(self) -> int:
        return len(self._lines)

    def __iter__(self) -> Iterator[Line]:
        return iter(self._lines)

    @property
    def oldest(self) -> Line | None:
        """The line whose turn it is to be answered."""
        return self._lines[0] if self._lines else None

    def room(self, size: int) -> bool:
        """True when the board's ring takes so many bytes more."""
        return sum(line.size for line in self._lines) + size <= RING_BYTES

    def age_s(self, now_s: float) -> float:
        """For how long the oldest line has been waiting; 0 when none is."""
        return now_s - self._lines[0].sent_s if self._lines else 0.0

    def add(self, line: Line) -> None:
        """A line was written."""
        self._lines.append(line)

    def put_back(self, line: Line) -> None:
        """A line that had been answered waits again, before all others."""
        line.answer = ""
        line.reported = line.unknown = False
        self._lines.appendleft(line)

    def answer(self, reply: str) -> Line | None:
        """Give a reply to the oldest line; None when no line waits: a stray."""
        if not self._lines:
            return None
        line = self._lines.popleft()
        line.answer = reply
        return line

    def lose(self) -> None:
        """No answers will come any more: the board has reset."""
        while self._lines:
            self._lines.popleft().answer = "lost"
