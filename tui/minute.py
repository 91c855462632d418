"""The gap over the last minute: one lane for each state, its share as the height of a bar. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.text import Text

from controller.bus.picture import HISTORY_S, RunPicture
from controller.core.snapshot import Snapshot
from tui import looks
from tui.words import LIVE

NAME_WIDTH: Final = 9
SHARE_WIDTH: Final = 6

Shares = tuple[float, float, float, float]


def last_minute(picture: RunPicture, width: int, height: int) -> Text:
    """Four lanes of `height` // 4 lines each."""
    bars = max(width - NAME_WIDTH - SHARE_WIDTH, 1)
    deep = max(height // len(looks.GAP), 1)
    seen = list(picture.history)
    columns = [_shares(each) for each in _binned(seen, bars)]
    present = _shares([each for each in seen if seen and each.time_s > seen[-1].time_s - 1.0])
    drawn = Text()
    for lane, (name, style) in enumerate(looks.GAP):
        for line in range(deep):
            drawn.append(f"{name if line == deep - 1 else '':<{NAME_WIDTH}}", looks.QUIET)
            for column in columns:
                drawn.append(_bar(column, lane, deep, line), style)
            drawn.append(_percent(present, lane) if line == deep - 1 else "", looks.STRONG)
            drawn.append("\n")
    drawn.right_crop(1)
    return drawn


def _binned(seen: Sequence[Snapshot], bars: int) -> list[list[Snapshot]]:
    """Snapshots by time, the latest at the right end."""
    bins: list[list[Snapshot]] = [[] for _ in range(bars)]
    for each in seen:
        ago = (seen[-1].time_s - each.time_s) / HISTORY_S
        bins[min(max(int((1.0 - ago) * bars), 0), bars - 1)].append(each)
    # Where snapshots stand further apart than bars, the last one holds until the next.
    first = next((place for place, held in enumerate(bins) if held), bars)
    for place in range(first + 1, bars):
        bins[place] = bins[place] or bins[place - 1][-1:]
    return bins


def _shares(seen: Sequence[Snapshot]) -> Shares | None:
    """Mean shares while the source was on: sparking, open, shorted, drop-out; None when it was off."""
    live = [each for each in seen if each.phase in LIVE]
    if not live:
        return None
    count = len(live)
    return (
        sum(each.p_sparking for each in live) / count,
        sum(each.p_open for each in live) / count,
        sum(each.p_shorted for each in live) / count,
        sum(each.p_off for each in live) / count,
    )


def _bar(shares: Shares | None, lane: int, deep: int, line: int) -> str:
    if shares is None:
        return " "
    eighths = round(shares[lane] * 8 * deep) - 8 * (deep - 1 - line)
    return looks.EIGHTHS[min(max(eighths, 0), 8)]


def _percent(shares: Shares | None, lane: int) -> str:
    return f"{'off':>{SHARE_WIDTH}}" if shares is None else f"{100.0 * shares[lane]:>{SHARE_WIDTH - 2}.0f} %"
