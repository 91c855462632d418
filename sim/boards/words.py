"""G-code as boards read it: letters with numbers, spaces free, comments in brackets or behind a semicolon."""

from __future__ import annotations

import re
from struct import pack, unpack

S_PER_MIN = 60.0  # feed words are in mm/min

WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))?")
COMMENT = re.compile(r"\([^)]*\)|;.*")


def single(number: float) -> float:
    """A number as firmware keeps it: stock boards reckon in single precision (IEEE 754, 24 bits).

    So every relative move is rounded on its way into the place where the last one ended, and many small ones fall short
    or go too far together: 0.1 % of the way for moves of 1.9 µm at 60 mm from zero.
    """
    held: float = unpack("<f", pack("<f", number))[0]
    return held


class BadWordError(ValueError):
    """A line that is no sequence of words; `number` is True when a letter has no number behind it."""

    def __init__(self, number: bool) -> None:
        super().__init__("a word has no number" if number else "a letter was expected")
        self.number = number


def words_of(line: str, *, lone: float | None = None) -> list[tuple[str, float]]:
    """The words of a line in order, e.g. [("G", 1.0), ("Z", -0.01)]; raises BadWordError.

    `lone` is what a letter without a number counts as, for boards that take one (`G28 Z`); None: they don't.
    """
    bare = COMMENT.sub("", line).replace(" ", "").replace("\t", "").upper()
    words: list[tuple[str, float]] = []
    at = 0
    while at < len(bare):
        word = WORD.match(bare, at)
        if word is None:
            raise BadWordError(number=False)
        number = lone if word[2] is None else float(word[2])
        if number is None:
            raise BadWordError(number=True)
        words.append((word[1], number))
        at = word.end()
    return words
