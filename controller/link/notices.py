"""What the wires have to tell beside observations: notices for the record, and problems that stand in the way."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

# Notices kept until the host fetches them: a wire that carries rubbish must not fill the memory. Chosen so that a
# second of nothing but rubbish lines still fits.
NOTICES_MOST = 1000


@dataclass(slots=True, frozen=True)
class Notice:
    """Something on a wire worth a line in the record: a stray reply, a resend, a reset, a corrected count.

    Args:
        time_s: When, by the host's clock.
        wire: `board` or `sampler`.
        what: In plain words.
    """

    time_s: float
    wire: str
    what: str


@dataclass(slots=True, frozen=True)
class Problem:
    """Why no job can be run with a board as it is: what was looked at, what was found, what would mend it.

    `bars` says that the board can't even be driven by hand; without it the link connects, so that the rest of the
    machine can be checked.
    """

    wire: str
    name: str
    found: str
    remedy: str
    bars: bool = True


class Notebook:
    """Notices and problems of one wire, kept until they are fetched."""

    __slots__ = ("_notices", "_wire", "problems")

    def __init__(self, wire: str) -> None:
        self._wire = wire
        self._notices: deque[Notice] = deque(maxlen=NOTICES_MOST)
        self.problems: list[Problem] = []

    def note(self, time_s: float, what: str) -> None:
        """Put a notice down."""
        self._notices.append(Notice(time_s, self._wire, what))

    def object(self, name: str, found: str, remedy: str, *, bars: bool = True) -> None:
        """Put a problem down, once."""
        problem = Problem(self._wire, name, found, remedy, bars)
        if problem not in self.problems:
            self.problems.append(problem)

    @property
    def barred(self) -> bool:
        """A problem stands in the way of being connected."""
        return any(problem.bars for problem in self.problems)

    def fetch(self) -> list[Notice]:
        """The notices since the last time, oldest first."""
        fetched = list(self._notices)
        self._notices.clear()
        return fetched
