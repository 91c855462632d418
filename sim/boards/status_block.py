"""What a `status` board makes of a line of words: modal state, and the block that the line asks for."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from sim.boards.words import S_PER_MIN, BadWordError, single, words_of

Place = tuple[float, float, float]

# Numbers of the errors that this board gives, as such boards number them (common practice, no source).
NO_LETTER, BAD_NUMBER, UNSUPPORTED, TWO_OF_A_GROUP, NO_FEED, NO_AXIS, UNUSED = 1, 2, 20, 21, 22, 26, 36

MOTIONS = (0.0, 1.0)
PROBES = {38.2: (False, True), 38.3: (False, False), 38.4: (True, True), 38.5: (True, False)}
"""Probing words: (away from the work, an alarm when nothing is met)."""
DISTANCES = {90.0: True, 91.0: False}
SPINDLE_ON, SPINDLE_OFF = (3.0, 4.0), 5.0
COOLANT = (7.0, 8.0, 9.0)
KNOWN = (*MOTIONS, *PROBES, *DISTANCES, 4.0, 21.0, 53.0, 92.0, 94.0)


class LineError(Exception):
    """A line that gets `error:N`."""

    def __init__(self, number: int) -> None:
        super().__init__(f"error:{number}")
        self.number = number


@dataclass(slots=True)
class Block:
    """What one line asks for.

    Attributes:
        target_mm: Machine position to go to; where it stands, when it asks for no move.
        feed_mm_s: Speed along the line.
        moves: It asks for a move.
        probing: (away, alarm) of a probing move.
        dwell_s, rev_min: Of a dwell; of a spindle word.
        waits: It is carried out once everything before it is done.
        new_offset: It has changed the work offset.
    """

    target_mm: Place
    feed_mm_s: float = inf
    moves: bool = False
    probing: tuple[bool, bool] | None = None
    dwell_s: float | None = None
    rev_min: float | None = None
    waits: bool = False
    new_offset: bool = False


class Modal:
    """Modal state of the parser, as it is after a reset.

    Attributes:
        at_mm: Machine position of the last target, in single precision as firmware keeps it.
        offset_mm: Work offset.
    """

    __slots__ = ("_absolute", "_feed_mm_s", "_motion", "_rev_min", "at_mm", "offset_mm")

    def __init__(self, at_mm: Place) -> None:
        self.at_mm = at_mm
        self.offset_mm: Place = (0.0, 0.0, 0.0)
        self._absolute = True
        self._motion = 0.0
        self._feed_mm_s: float | None = None
        self._rev_min = 0.0

    def read(self, line: str) -> Block:
        """The block of a line; modal state changes with it. Raises LineError."""
        gs, ms, numbers = _sorted_words(line)
        self._absolute = next((DISTANCES[g] for g in gs if g in DISTANCES), self._absolute)
        if "F" in numbers:
            self._feed_mm_s = numbers["F"] / S_PER_MIN
        self._rev_min = numbers.get("S", self._rev_min)
        block = Block(self.at_mm)
        self._other(block, gs, ms, numbers)
        if not {4.0, 92.0} & set(gs):
            self._motion_of(block, gs, numbers)
        return block

    def jog(self, order: str) -> Block:
        """The block of a jog; modal state stays. Raises LineError."""
        gs, ms, numbers = _sorted_words(order)
        if ms or set(gs) - {21.0, 53.0, 90.0, 91.0} or not _axes(numbers):
            raise LineError(16)
        if "F" not in numbers:
            raise LineError(NO_FEED)
        absolute = next((DISTANCES[g] for g in gs if g in DISTANCES), self._absolute)
        target_mm = self._target_mm(numbers, absolute, machine=53.0 in gs)
        return Block(target_mm, numbers["F"] / S_PER_MIN, moves=True)

    def _other(self, block: Block, gs: list[float], ms: list[float], numbers: dict[str, float]) -> None:
        """Dwell, offset, spindle, coolant."""
        if 4.0 in gs:
            if "P" not in numbers:
                raise LineError(28)
            block.dwell_s = numbers["P"]
        if 92.0 in gs:
            offset = list(self.offset_mm)
            for axis, letter in enumerate("XYZ"):
                offset[axis] = self.at_mm[axis] - numbers[letter] if letter in numbers else offset[axis]
            self.offset_mm = offset[0], offset[1], offset[2]
            block.new_offset = True
        for m in ms:
            if m in SPINDLE_ON or m == SPINDLE_OFF:
                block.rev_min = 0.0 if m == SPINDLE_OFF else self._rev_min
        block.waits = bool(ms) or 4.0 in gs or any(g in PROBES for g in gs)

    def _motion_of(self, block: Block, gs: list[float], numbers: dict[str, float]) -> None:
        """A straight or probing move, if there is one."""
        motions = [g for g in gs if g in MOTIONS or g in PROBES]
        if len(motions) > 1:
            raise LineError(TWO_OF_A_GROUP)
        motion = motions[0] if motions else self._motion
        if motion in MOTIONS:
            self._motion = motion
        if not _axes(numbers):
            if motion in PROBES:
                raise LineError(NO_AXIS)
            return
        block.moves = True
        block.probing = PROBES.get(motion)
        block.target_mm = self._target_mm(numbers, self._absolute, machine=53.0 in gs)
        if motion != 0.0:
            if not self._feed_mm_s:
                raise LineError(NO_FEED)
            block.feed_mm_s = self._feed_mm_s

    def _target_mm(self, numbers: dict[str, float], absolute: bool, *, machine: bool) -> Place:
        target = list(self.at_mm)
        for axis, letter in enumerate("XYZ"):
            if letter not in numbers:
                continue
            if machine:
                target[axis] = numbers[letter]
            elif absolute:
                target[axis] = numbers[letter] + self.offset_mm[axis]
            else:
                target[axis] = single(target[axis]) + single(numbers[letter])
        return single(target[0]), single(target[1]), single(target[2])


def _axes(numbers: dict[str, float]) -> set[str]:
    return {"X", "Y", "Z"} & set(numbers)


def _sorted_words(line: str) -> tuple[list[float], list[float], dict[str, float]]:
    """G numbers, M numbers, and the other letters of a line; raises LineError for what such a board has not."""
    try:
        words = words_of(line)
    except BadWordError as bad:
        raise LineError(BAD_NUMBER if bad.number else NO_LETTER) from bad
    gs = [number for letter, number in words if letter == "G"]
    ms = [number for letter, number in words if letter == "M"]
    numbers = {letter: number for letter, number in words if letter not in "GM"}
    if set(numbers) - set("XYZFSPN"):
        raise LineError(UNUSED)
    if any(g not in KNOWN for g in gs) or any(m not in (*SPINDLE_ON, SPINDLE_OFF, *COOLANT) for m in ms):
        raise LineError(UNSUPPORTED)
    return gs, ms, numbers
