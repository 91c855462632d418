"""G-code as boards read it: letters with numbers, spaces free, comments in brackets or behind a semicolon."""

from __future__ import annotations

import re

S_PER_MIN = 60.0  # feed words are in mm/min

WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))?")
COMMENT = re.compile(r"\([^)]*\)|;.*")


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
