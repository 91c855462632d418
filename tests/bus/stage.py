"""A bus with an invented run on it. Every figure is invented."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from controller.bus.bus import Bus
from controller.core.events import PromptRaised
from controller.core.snapshot import Snapshot
from controller.plan.ranges import Range
from controller.watchable import about
from tests.record.made_up import START, places

EXPECTED_S = Range(300.0, 400.0, 600.0)
PROMPT = PromptRaised(
    12.0, 1, "advance", "The rod is short.", "Push it down.", "It is measured.", ("done", "end"), planned=True
)


def snapshot(time_s: float) -> Snapshot:
    """A picture of an invented core."""
    gap = (0.1, 0.8, 0.1, 0.0, 900.0, 0.3)
    return Snapshot(time_s, "erode", "Hole 2: eroding", 2, 1, 9, 0.4, *gap, 41.2, 0.03, 0.9, 110.0)


@contextmanager
def served(run: Path) -> Iterator[Bus]:
    """A bus for the run folder `run`."""
    bus = Bus(about(str(run), START, places(9), EXPECTED_S))
    try:
        yield bus
    finally:
        bus.close("over")
