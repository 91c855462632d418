"""Where the board itself reckons its last target to be: in single precision, rounding at every relative move.

Stock firmware of both conventions adds a relative move to the place where the last one ended in numbers of 24 bits
(IEEE 754 single precision; from memory of such firmware). At 60 mm from its zero that rounds to 3.8 nm, the same way at
every move of the same length: moves of 1.9 µm come out 0.1 % off, three steps of 0.3 µm a millimetre. So the host
reckons along, and once the board would be off by more than a little, the next line makes up for it.
"""

from __future__ import annotations

import re
from struct import pack, unpack
from typing import Final

from controller.link.grid import MM_DECIMALS, StepGrid, Steps, decimal, subtract

# How far off a whole step (in steps) the board's place may come before a line makes up for it. Chosen: far from the
# half at which it would step wrong, and so that nearly all lines stay plain.
SLACK_STEPS: Final = 0.1
_WORD: Final = re.compile(r"([XYZ])(-?\d+(?:\.\d+)?)")
_AXES: Final = "XYZ"


def single(number: float) -> float:
    """A number in single precision."""
    held: float = unpack("<f", pack("<f", number))[0]
    return held


class BoardPlace:
    """The board's place, reckoned along.

    Args:
        grid: The grid of whole steps.
    """

    __slots__ = ("_grid", "_mm")

    def __init__(self, grid: StepGrid) -> None:
        self._grid = grid
        self._mm = [0.0, 0.0, 0.0]

    def stand(self, steps: Steps) -> None:
        """The board takes its place from its own count of steps, as it does at a start and after homing."""
        self._mm = [single(mm) for mm in self._grid.mm(steps)]

    def words(self, start: Steps, end: Steps, origin: Steps) -> str:
        """The axis words of a relative line between two places of the ledger's frame; `origin` is the board's zero."""
        plain = self._grid.words(start, end)
        after = self._after(plain, 1.0)
        goal = self._grid.mm(subtract(end, origin))
        words = plain.split(" ") if plain else []
        for number, word in enumerate(words):
            axis = _AXES.index(word[0])
            if abs(self._grid.steps_in(axis, after[axis] - goal[axis])) > SLACK_STEPS:
                words[number] = word[0] + decimal(goal[axis] - self._mm[axis], MM_DECIMALS)
        return " ".join(words)

    def told(self, words: str) -> None:
        """A line with these axis words was written."""
        self._mm = self._after(words, 1.0)

    def refused(self, words: str) -> None:
        """The board did not take it."""
        self._mm = self._after(words, -1.0)

    def _after(self, words: str, sign: float) -> list[float]:
        after = list(self._mm)
        for letter, number in _WORD.findall(words):
            axis = _AXES.index(letter)
            after[axis] = single(after[axis] + sign * single(float(number)))
        return after
