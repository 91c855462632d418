"""A path by arc length, and the axis that slides along it with play.

The servo knows arc length only; where that is in x, y, z is the path's affair. A hole is a straight path down.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final, Protocol

from controller.core.commands import Move

# Feed word of paced moves: fast, so that a move is over well within a tick and none is stretched to the slowest step
# rate (30/s at 400 steps/mm is 76 µm/s, wires.md). 5 mm/s is a tenth of what stock axes travel at; chosen so.
FEED_WORD_UM_S: Final = 5000.0
# Moves outstanding at most before the next is sent: one running, one ready (wires.md: three queued delay a retract
# 90 ms).
QUEUE_MOST: Final = 1


class Path(Protocol):
    """Anything with a place for every arc length (µm, positive toward the work)."""

    def at(self, s_um: float) -> tuple[float, float, float]:
        """Axis place (x, y, z in µm, machine frame) at arc length `s_um`."""
        ...


@dataclass(slots=True, frozen=True)
class Plunge:
    """Straight down from an axis place; arc length 0 is that place."""

    x_um: float
    y_um: float
    z_um: float

    def at(self, s_um: float) -> tuple[float, float, float]:
        """See `Path.at`."""
        return self.x_um, self.y_um, self.z_um - s_um


class Slide:
    """The axis along a path, with backlash taken up on reversal and fractions of a useful move kept.

    The tip follows the axis with play: pushed forward it stands at the axis, pulled back it lags by the backlash, so
    tip = min(max(tip, axis), axis + backlash) after every move.

    Attributes:
        axis_um: commanded arc length of the axis.
        tip_um: believed arc length of the tip in the same measure.
    """

    # Taken up fast before a forward move, as a share of the believed backlash; the rest is left to the slow feed.
    # Chosen so that a true backlash 30 % smaller than believed (30–50 µm on soft axes, design.md §2) still can't push
    # the tip into the work.
    TAKE_UP: Final = 0.7

    __slots__ = ("_backlash_um", "_owed_um", "_path", "_quantum_um", "axis_um", "tip_um")

    def __init__(self, path: Path, backlash_um: float, quantum_um: float) -> None:
        self._path = path
        self._backlash_um = backlash_um
        self._quantum_um = quantum_um
        self._owed_um = 0.0
        self.axis_um = 0.0
        self.tip_um = 0.0

    @property
    def slack_um(self) -> float:
        """How far the axis must go forward before the tip follows."""
        return self.tip_um - self.axis_um

    @property
    def loose_um(self) -> float:
        """What of that may be gone fast; the rest is left to the slow feed (see TAKE_UP)."""
        return max(self.slack_um - (1.0 - self.TAKE_UP) * self._backlash_um, 0.0)

    def forward(self, by_um: float, queued: int) -> tuple[Move, ...]:
        """Feed forward by a distance; nothing is sent until it amounts to a useful move, or while the board is behind.

        The feed is made by the host's clock: small moves at a fast feed word, then waiting (wires.md). What the board
        has not done after `QUEUE_MOST` moves is not owed either: a backlog would still be fed after a retreat was due.
        """
        self._owed_um += by_um
        if queued > QUEUE_MOST:
            self._owed_um = min(self._owed_um, self._quantum_um)
            return ()
        if self._owed_um < self._quantum_um:
            return ()
        steps = int(self._owed_um / self._quantum_um) * self._quantum_um
        self._owed_um -= steps
        return (self._go(self.axis_um + steps, FEED_WORD_UM_S),)

    def take_up(self, speed_um_s: float) -> tuple[Move, ...]:
        """Take up most of the play fast; nothing when there is none."""
        slack = self.slack_um
        if slack < self._quantum_um:
            return ()
        self._owed_um = 0.0
        return (self._go(self.axis_um + self.TAKE_UP * slack, speed_um_s),)

    def back(self, tip_by_um: float, speed_um_s: float, *, no_further_um: float = -inf) -> tuple[Move, ...]:
        """Lift the tip back along the path by a distance, play included, but not past an arc length; starts at once."""
        self._owed_um = 0.0
        target = max(self.tip_um - tip_by_um - self._backlash_um, no_further_um)
        return (self._go(min(target, self.axis_um), speed_um_s, urgent=True),)

    def back_to(self, s_um: float, speed_um_s: float) -> tuple[Move, ...]:
        """Take the axis back to an arc length."""
        self._owed_um = 0.0
        return (self._go(min(s_um, self.axis_um), speed_um_s, urgent=True),)

    def halted_at(self, z_um: float) -> None:
        """The board dropped what was queued: take its own account of where the axis stands (plunge paths)."""
        _, _, z0 = self._path.at(0.0)
        self._settle(z0 - z_um)

    def _go(self, axis_um: float, speed_um_s: float, *, urgent: bool = False) -> Move:
        self._settle(axis_um)
        x, y, z = self._path.at(axis_um)
        return Move(x, y, z, speed_um_s, urgent)

    def _settle(self, axis_um: float) -> None:
        self.axis_um = axis_um
        self.tip_um = min(max(self.tip_um, axis_um), axis_um + self._backlash_um)
