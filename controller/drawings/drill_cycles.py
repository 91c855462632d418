"""Drill cycles of G-code: G81, G82 and G83 by NISTIR 6556 (RS274/NGC), section 3.5.16, and the moves between them.

Only what decides where holes are is followed: distance mode, units, straight moves, and the canned cycles with their
retract mode and repeats. Whatever could move the places unseen (offsets, expressions, subprograms, arcs in other
planes) ends the reading with the line named: a hole at the wrong place is worse than a refused file.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from controller.drawings.drawing import MM_PER_UNIT, Drawing, DrawingError, DrawnHole

WORD: Final = re.compile(r"\s*([A-Za-z])\s*([+-]?(?:\d+\s*\.?\s*\d*|\.\s*\d+))")
COMMENT: Final = re.compile(r"\([^()]*\)|;.*$")

CYCLES: Final = {81.0, 82.0, 83.0}
MOTIONS: Final = {0.0, 1.0}
# Cutter and feed matters that don't decide where a hole is. G17, the xy plane, is the one that is read.
HARMLESS: Final = {4.0, 17.0, 40.0, 49.0, 54.0, 61.0, 61.1, 64.0, 94.0}
REMEDY: Final = "write the file with absolute places in one coordinate system, G17, without subprograms"

Place = tuple[float, float, float]


@dataclass(slots=True, frozen=True)
class Motion:
    """One straight motion: `rapid` or `feed`, and where it ends (in the program's unit)."""

    kind: str
    to: Place


@dataclass(slots=True)
class Reader:
    """The state of the program from line to line.

    Attributes:
        place: Where the tool stands.
        incremental: G91.
        back_to_start: G98: between holes the tool goes back to where it stood before the cycle; else to R.
        unit: mm or inch.
        motion: The motion in force: 0, 1, a cycle, or None.
        drilled: Bottom of every hole, the line it stands in, and its unit.
        motions: Every motion in order.
    """

    place: Place = (0.0, 0.0, 0.0)
    incremental: bool = False
    back_to_start: bool = True
    unit: str | None = None
    motion: float | None = None
    drilled: list[tuple[Place, int, str]] = field(default_factory=list)
    motions: list[Motion] = field(default_factory=list)
    skipped: Counter[str] = field(default_factory=Counter)
    _sticky: dict[str, float] = field(default_factory=dict)
    _before_z: float = 0.0

    def read(self, line: str, number: int) -> None:
        """Take one line; raises ValueError with what is wrong in it."""
        words = _words(line)
        codes = [figure for letter, figure in words if letter == "G"]
        given = {letter: figure for letter, figure in words if letter not in "GMN"}
        for letter in {letter for letter, _ in words if letter in "MSTF"}:
            self.skipped[f"{letter} words"] += 1
        for code in codes:
            self._take(code)
        if not any(letter in given for letter in "XYZ"):
            if self.motion in CYCLES and any(code in CYCLES for code in codes):
                raise ValueError("a cycle with no X, Y or Z word (NISTIR 6556, 3.5.16); say where to drill")
            return
        if 53.0 in codes:
            raise ValueError(f"G53 moves in machine coordinates; {REMEDY}")
        if self.motion in CYCLES:
            self._cycle(given, number)
        elif self.motion in MOTIONS:
            self._go("rapid" if self.motion == 0.0 else "feed", self._target(given))
        else:
            raise ValueError("a place without a motion: put G0, G1 or a drill cycle before it")

    def _take(self, code: float) -> None:
        match code:
            case 20.0 | 21.0:
                self.unit = "inch" if code == 20.0 else "mm"
            case 90.0 | 91.0:
                self.incremental = code == 91.0
            case 98.0 | 99.0:
                self.back_to_start = code == 98.0
            case 80.0:
                self.motion = None
            case _ if code in CYCLES | MOTIONS:
                if code in CYCLES and self.motion not in CYCLES:
                    self._sticky, self._before_z = {}, self.place[2]
                self.motion = code
            case _ if code in HARMLESS:
                self.skipped[f"G{code:g}"] += 1
            case _:
                raise ValueError(f"G{code:g} is not read here; {REMEDY}")

    def _target(self, given: dict[str, float]) -> Place:
        x, y, z = (
            (here + given.get(axis, 0.0)) if self.incremental else given.get(axis, here)
            for axis, here in zip("XYZ", self.place, strict=True)
        )
        return (x, y, z)

    def _go(self, kind: str, to: Place) -> None:
        if to != self.place:
            self.motions.append(Motion(kind, to))
            self.place = to

    def _cycle(self, given: dict[str, float], number: int) -> None:
        """One line of a cycle: its preliminary motion, then for each repeat over, down, back (3.5.16.1 to 3.5.16.4)."""
        repeats = given.get("L", 1.0)
        if repeats < 1 or repeats != int(repeats):
            raise ValueError(f"L must be a positive whole number, not {repeats:g}")
        self._sticky.update({letter: given[letter] for letter in "ZRQ" if letter in given})
        for letter in "ZR" + ("Q" if self.motion == 83.0 else ""):
            if letter not in self._sticky:
                raise ValueError(f"the first G{self.motion:g} needs {letter} as well")
        if self._sticky.get("Q", 1.0) <= 0:
            raise ValueError(f"Q must be more than 0, not {self._sticky['Q']:g}")
        # With G91, R counts from where z stands and Z from R.
        clear = self.place[2] + self._sticky["R"] if self.incremental else self._sticky["R"]
        bottom = clear + self._sticky["Z"] if self.incremental else self._sticky["Z"]
        if clear < bottom:
            raise ValueError(f"R ({clear:g}) lies below Z ({bottom:g}); the drill would begin below its bottom")
        x, y, z = self.place
        if z < clear:
            self._go("rapid", (x, y, clear))
        back = max(self._before_z, clear) if self.back_to_start else clear
        for _ in range(int(repeats)):
            x, y, _ = self._target({axis: given[axis] for axis in "XY" if axis in given})
            self._go("rapid", (x, y, self.place[2]))
            self._go("rapid", (x, y, clear))
            self._go("feed", (x, y, bottom))
            self.drilled.append(((x, y, bottom), number, self.unit or ""))
            self._go("rapid", (x, y, back))


def read_drill_cycles(text: str, name: str, unit: str | None = None) -> Drawing:
    """The holes of a program.

    Args:
        text: The program.
        name: What to call the file in messages.
        unit: The unit where the program says neither G20 nor G21.

    Raises:
        DrawingError: A line that can't be followed, no unit, or no cycle.
    """
    if unit not in (None, "mm", "inch"):
        raise DrawingError([f"{name}: a program is in mm (G21) or inch (G20), not in {unit}"])
    reader = Reader(unit=unit)
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip() == "%" or not line.strip():
            continue
        if line.lstrip().startswith("/"):
            reader.skipped["lines with a block delete (/)"] += 1
            continue
        try:
            reader.read(COMMENT.sub("", line), number)
        except ValueError as wrong:
            raise DrawingError([f"{name}: line {number}: {wrong}"]) from None
    if not reader.drilled:
        raise DrawingError([f"{name}: has no drill cycle (G81, G82 or G83); nothing else says where a hole is"])
    if any(not spoken for _, _, spoken in reader.drilled):
        raise DrawingError([f"{name}: says neither G20 (inch) nor G21 (mm); put one at its head, or give --unit"])
    holes = tuple(_holes(reader.drilled))
    return Drawing(holes, tuple(_took(reader)), tuple(f"{count} × {what}" for what, count in reader.skipped.items()))


def _words(line: str) -> list[tuple[str, float]]:
    """Letters with their figures; raises ValueError where something else stands."""
    words: list[tuple[str, float]] = []
    at = 0
    text = line.strip()
    while at < len(text):
        word = WORD.match(text, at)
        if word is None:
            raise ValueError(f"can't read {text[at : at + 12]!r}: only letters with numbers are; {REMEDY}")
        letter, figure = word[1].upper(), float(word[2].replace(" ", ""))
        if letter == "O":
            raise ValueError(f"O words call subprograms; {REMEDY}")
        words.append((letter, figure))
        at = word.end()
    return words


def _holes(drilled: Sequence[tuple[Place, int, str]]) -> Iterator[DrawnHole]:
    for (x, y, _), number, unit in drilled:
        yield DrawnHole(x * MM_PER_UNIT[unit], y * MM_PER_UNIT[unit], None, f"line {number}")


def _took(reader: Reader) -> Iterator[str]:
    bottoms = sorted({round(place[2] * MM_PER_UNIT[unit], 4) for place, _, unit in reader.drilled})
    units = " and ".join(dict.fromkeys(unit for _, _, unit in reader.drilled))
    deep = f"{bottoms[0]:g}" if len(bottoms) == 1 else f"{bottoms[0]:g} to {bottoms[-1]:g}"
    yield f"{len(reader.drilled)} drill cycles in {units}"
    yield f"bottoms at z {deep} mm, which a through hole doesn't need: it ends when the far face is passed"
