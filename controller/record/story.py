"""What happened when, for the report: shorts that follow each other are told together, so that the rest can be seen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from controller.core.events import Event, ShortEnded
from controller.record.happenings import Happening, happenings

# So many shorts in a row are told as one line that can be opened. Chosen: two are read as quickly as one.
TOGETHER_FROM = 3


@dataclass(slots=True, frozen=True)
class Entry:
    """One line of the story, and what is told in it together; empty for a single happening."""

    time_s: float
    words: str
    grave: bool = False
    together: tuple[Happening, ...] = ()


def story(events: Iterable[Event]) -> list[Entry]:
    """The story of a run."""
    entries: list[Entry] = []
    shorts: list[tuple[ShortEnded, Happening]] = []
    for event in events:
        for happening in happenings([event]):
            if isinstance(event, ShortEnded):
                shorts.append((event, happening))
                continue
            entries += _told(shorts)
            shorts = []
            entries.append(Entry(happening.time_s, happening.words, happening.grave))
    return entries + _told(shorts)


def _told(shorts: list[tuple[ShortEnded, Happening]]) -> list[Entry]:
    """Shorts in a row, as one entry when they are many."""
    if len(shorts) < TOGETHER_FROM:
        return [Entry(each.time_s, each.words, each.grave) for _, each in shorts]
    holes = len({event.hole for event, _ in shorts})
    longest_s = max(event.seconds for event, _ in shorts)
    first, last = shorts[0][0], shorts[-1][0]
    where = f"at hole {first.hole}" if holes == 1 else f"at {holes} holes, from {first.hole} to {last.hole}"
    words = f"{len(shorts)} shorts that took the electrode out of the hole, {where}; the longest {longest_s:.1f} s"
    return [Entry(first.time_s, words, together=tuple(each for _, each in shorts))]
