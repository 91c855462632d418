"""The board's own count of steps against the ledger: done, still moving, missing some, or set wrong."""

from __future__ import annotations

from enum import Enum, auto

from controller.link.grid import NOWHERE, Steps, longest, subtract

# A count that does not change for this long while everything should be done is no motion under way: three times the
# longest first-move delay (106 ms, wires.md). Chosen.
STILL_S = 0.3
# A count off by more steps than a burst and by more than this share of the way since it was last right is no rounding
# of the board's: something is set wrong. Chosen: micro-stepping is wrong by a factor of two at least.
OFF_STEPS, OFF_SHARE = 18, 0.1


class Verdict(Enum):
    """What a count means."""

    SAME = auto()
    MOVING = auto()
    MISSING = auto()
    WRONG = auto()


class CountCheck:
    """Judges one count after the other.

    Attributes:
        right: Where count and ledger agreed last.
    """

    __slots__ = ("_since_s", "_still_at", "right")

    def __init__(self) -> None:
        self.right = NOWHERE
        self._still_at: Steps | None = None
        self._since_s = 0.0

    def agree(self, place: Steps) -> None:
        """Ledger and board were made to agree here."""
        self.right = place
        self._still_at = None

    def judge(self, found: Steps, sent: Steps, time_s: float) -> Verdict:
        """What a count means, taken while everything sent should be done."""
        if found == sent:
            self.agree(found)
            return Verdict.SAME
        if found != self._still_at:
            self._still_at, self._since_s = found, time_s
        if time_s - self._since_s < STILL_S:
            return Verdict.MOVING
        self._still_at = None
        off, way = longest(subtract(found, sent)), longest(subtract(sent, self.right))
        return Verdict.WRONG if off > max(OFF_STEPS, OFF_SHARE * way) else Verdict.MISSING
