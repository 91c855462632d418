"""A rehearsal that can be watched: its bus lives in its own process and is looked after between two steps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Final

from controller.bus.bus import Bus
from controller.bus.picture import About
from controller.bus.place import BusError
from controller.core.events import Event
from controller.core.requests import Request
from controller.core.snapshot import Snapshot
from controller.plan.ranges import Range
from controller.record.journal import Journal, PlacedHole, StartRecord, TrueHole, TrueTip
from controller.screen import err

OVER: Final = "the rehearsal is over"


def about(folder: str, start: StartRecord, placed: Sequence[PlacedHole], expected_s: Range) -> About:
    """What a start record says of a run to those who watch it, and how long the plan expects it to take."""
    return About(
        run=folder,
        job=start.job,
        machine=start.machine,
        rehearsed=start.rehearsed,
        seed=start.seed,
        started_utc=start.started_utc,
        thickness_mm=start.thickness_mm,
        diameter_mm=start.diameter_mm,
        tolerance_mm=start.tolerance_mm,
        rod_mm=start.rod_mm,
        expected_s=(expected_s.low, expected_s.expected, expected_s.high),
        holes=tuple(placed),
    )


class Watched:
    """Where a rehearsal's events go: into its journal, and to everybody who watches.

    Args:
        journal: The journal.
        bus: The bus; None where there can be none.
    """

    def __init__(self, journal: Journal, bus: Bus | None) -> None:
        self._journal, self._bus = journal, bus

    def append(self, event: Event) -> None:
        """Take an event of the core."""
        self._journal.append(event)
        if self._bus is not None:
            self._bus.hear(event)

    def append_true_tip(self, tip: TrueTip) -> None:
        """Take the true tip length: for the journal alone."""
        self._journal.append_true_tip(tip)

    def append_true_hole(self, truth: TrueHole) -> None:
        """Take what a hole really became: for the journal alone."""
        self._journal.append_true_hole(truth)

    def look(self, seen: Snapshot) -> Sequence[Request]:
        """Show how it stands; returns what was asked meanwhile."""
        if self._bus is None:
            return ()
        self._bus.see(seen)
        return self._bus.requests()


@contextmanager
def watched(journal: Journal, what: About) -> Iterator[Watched]:
    """A rehearsal's journal with a bus while the block runs; without one, and saying so, where there can be none."""
    try:
        bus = Bus(what)
    except BusError as error:
        err.print(str(error), markup=False, highlight=False, soft_wrap=True)
        yield Watched(journal, None)
        return
    try:
        yield Watched(journal, bus)
    finally:
        bus.close(OVER)
