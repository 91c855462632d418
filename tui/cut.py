"""The hole that is being made, cut open: rod, plate, and the depths that are expected. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rich.text import Text

from controller.core.snapshot import Snapshot
from tui import looks
from tui.words import LIVE

# The labels' width; half the rod is this share of the drawing's width, and the gap beside it one column.
LABEL: Final = 5
HALF_ROD_SHARE: Final = 0.18
# Drawn above the face and below the full depth, as a share of the whole. Chosen so that the start height is seen.
ABOVE: Final = 0.12
BELOW: Final = 0.08


@dataclass(slots=True, frozen=True)
class Scale:
    """From feed (mm below the first spark) to rows."""

    top: float
    step: float
    rows: int

    def row(self, feed: float) -> int:
        """The row that a feed falls into, held inside the drawing."""
        return min(max(int((feed - self.top) / self.step), 0), self.rows - 1)

    def feed(self, row: int) -> float:
        """The feed at the middle of a row."""
        return self.top + (row + 0.5) * self.step


def cut_open(seen: Snapshot | None, width: int, height: int) -> Text:
    """The hole as `height` lines of `width` characters; empty lines between holes."""
    if seen is None or seen.full_mm <= 0.0 or seen.hole == 0:
        return Text("\n".join([" " * width] * height))
    full = max(seen.full_mm, seen.feed_mm)
    scale = Scale(-ABOVE * full, full * (1.0 + ABOVE + BELOW) / height, height)
    labels = _labels(seen, scale)
    lines = []
    for row in range(height):
        label, style = labels.get(row, ("", ""))
        line = _line(seen, scale, row, max(width - LABEL, 7))
        lines.append(line.append(f" {label:<{LABEL - 1}}"[:LABEL], style))
    return Text("\n").join(lines)


def _labels(seen: Snapshot, scale: Scale) -> dict[int, tuple[str, str]]:
    """What stands beside which row; what matters more is written over what matters less."""
    found = {
        scale.row(feed): (label, looks.QUIET)
        for feed, label in ((0.0, "face"), (seen.full_mm, "full"), (seen.pierce_mm, "out"))
    }
    found[scale.row(seen.feed_mm)] = (f"{seen.feed_mm:.2f}", looks.STRONG)
    return found


def _line(seen: Snapshot, scale: Scale, row: int, width: int) -> Text:
    """One row: plate on both sides, the rod as wide as it is there."""
    half = max(round(HALF_ROD_SHARE * width), 1)
    reach = _half_there(seen, scale.feed(row), half)
    bottom = scale.row(seen.feed_mm)
    tip = bottom if seen.phase in LIVE else 0  # out of the hole, seen from far
    solid = scale.row(0.0) <= row < scale.row(seen.pierce_mm)
    line = Text()
    for column in range(width):
        away = abs(column - width // 2)
        if (row < tip and away <= reach) or (row == tip and away == 0):
            line.append(looks.ROD if row < tip else looks.TIP, looks.STRONG)
        elif solid and not (row <= bottom and away <= half + 1):
            line.append(looks.WORK, looks.QUIET)
        elif row == scale.row(seen.full_mm) and row > bottom:
            line.append(looks.MARK, looks.QUIET)
        else:
            line.append(looks.WATER)
    return line


def _half_there(seen: Snapshot, feed: float, half: int) -> int:
    """Half the rod's width at a feed, in columns: its end is worn to a needle as long as believed."""
    share = (seen.feed_mm - feed) / seen.cone_mm if seen.cone_mm > 0.0 else 1.0
    return round(half * min(max(share, 0.0), 1.0))
