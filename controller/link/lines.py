"""Bytes into lines: the framing that both motion conventions share."""

from __future__ import annotations

# Longest line taken for one: reports and settings lists stay far below (a status board's own limit is 80 characters,
# wires.md; an end-stop or firmware line is longer). Chosen.
LINE_MOST = 512


class LineReader:
    """Cuts received bytes into lines at carriage return or line feed, whatever their portions.

    Never raises: bytes outside printable ASCII are dropped (a line that lost some is still a line, and is judged by
    what reads it), and what never ends is thrown away up to its end.

    Attributes:
        dropped: Bytes thrown away so far.
    """

    __slots__ = ("_begun", "_overlong", "dropped")

    def __init__(self) -> None:
        self._begun = bytearray()
        self._overlong = False
        self.dropped = 0

    def feed(self, received: bytes) -> list[str]:
        """The lines complete with these bytes, without their ends and outer blanks; empty ones are left out."""
        if not received:
            return []
        *whole, rest = received.replace(b"\r", b"\n").split(b"\n")
        lines: list[str] = []
        for piece in whole:
            self._append(piece)
            if not self._overlong:
                line = self._text()
                if line:
                    lines.append(line)
            self._begun.clear()
            self._overlong = False
        self._append(rest)
        return lines

    def restart(self) -> None:
        """Forget a line begun."""
        self._begun.clear()
        self._overlong = False

    def _append(self, piece: bytes) -> None:
        if self._overlong or len(self._begun) + len(piece) > LINE_MOST:
            self.dropped += len(self._begun) + len(piece)
            self._begun.clear()
            self._overlong = True
            return
        self._begun += piece

    def _text(self) -> str:
        printable = bytes(byte for byte in self._begun if 0x20 <= byte < 0x7F)
        self.dropped += len(self._begun) - len(printable)
        return printable.decode("ascii").strip()
