"""What lies between a motor and the face it drives: lost motion and stick-slip, for one axis."""

from __future__ import annotations

from collections.abc import Callable


class BreakAway:
    """Draws the drag at which a face lets go: evenly up to `most_um`. A class, so that a plant can be put aside."""

    __slots__ = ("_most_um", "_uniform")

    def __init__(self, most_um: float, uniform: Callable[[], float]) -> None:
        self._most_um = most_um
        self._uniform = uniform

    def __call__(self) -> float:
        """The next drag (um)."""
        return self._most_um * self._uniform()


class Play:
    """A dead band with friction behind it.

    The face rests anywhere between `motor - up_um` and `motor + down_um`. A motor that leaves this band drags the face
    along, but only once the drag has reached a break-away drawn afresh after every slip: below it the face sticks.

    Args:
        up_um: How far the face trails below the motor after an upward move (um, >= 0).
        down_um: How far the face trails above the motor after a downward move (um, >= 0).
        break_away_um: Draws the drag at which the face lets go (um, >= 0).
        face_um: Where the face is at the start (um).
    """

    __slots__ = ("_break_away_um", "_down_um", "_draw_um", "_up_um", "face_um")

    def __init__(self, up_um: float, down_um: float, break_away_um: Callable[[], float], face_um: float) -> None:
        self._up_um = up_um
        self._down_um = down_um
        self._draw_um = break_away_um
        self._break_away_um = break_away_um()
        self.face_um = face_um

    def follow(self, motor_um: float) -> float:
        """Take the motor to `motor_um` in one direction; return where the face is then (um)."""
        face_um = self.face_um
        wanted_um = motor_um - self._up_um
        if face_um < wanted_um:
            drag_um = wanted_um - face_um
        else:
            wanted_um = motor_um + self._down_um
            if face_um <= wanted_um:
                return face_um
            drag_um = face_um - wanted_um
        if drag_um < self._break_away_um:
            return face_um
        self._break_away_um = self._draw_um()
        self.face_um = wanted_um
        return wanted_um
