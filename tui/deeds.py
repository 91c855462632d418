"""What can be done now, with its key: one list for the keys, the line at the foot, and the help."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from controller.bus.picture import RunPicture
from controller.core.requests import HELD


@dataclass(slots=True, frozen=True)
class Deed:
    """Something to do: its key and the key as it is written, word, the name of its action, and what it does."""

    key: str
    sign: str
    word: str
    action: str
    does: str


DEEDS: Final = (
    Deed("h", "h", "hold", "hold", "Leave the hole, source and water off, wait; the run is not over."),
    Deed("g", "g", "go on", "go_on", "Go on after a hold (asks first: the source comes back)."),
    Deed("a", "a", "answer", "answer", "Read and answer what the operator is asked."),
    Deed("m", "m", "measure", "measure", "Measure the electrode at the next safe moment, then go on."),
    Deed("s", "s", "skip hole", "skip", "Leave this hole as it is and go on with the next (asks first)."),
    Deed("x", "x", "end", "end", "End the run safely (asks first)."),
    Deed("l", "l", "log", "log", "Everything that happened, in words."),
    Deed("question_mark", "?", "help", "help", "This page."),
    Deed("q", "q", "close", "leave", "Close the screen; the job goes on (asks first)."),
)
LOOKING: Final = frozenset({"log", "help", "leave"})
MOVES: Final = (
    ("arrows", "Choose a hole on the plate, as a click does, and see its figures."),
    ("n", "Back to the hole that is being made."),
    ("Tab Esc", "In a question: the next button (Enter takes it); not now."),
)


def deeds_now(picture: RunPicture | None, rights: frozenset[str]) -> Iterator[Deed]:
    """What can be done as things stand."""
    possible = set(LOOKING)
    if picture is not None and picture.ended is None:
        held = picture.prompt is not None and picture.prompt.topic == HELD
        possible |= {"end"}
        possible |= {"answer"} if picture.prompt is not None else {"hold", "measure", "skip"}
        possible |= {"go_on"} if held else set()
    return (deed for deed in DEEDS if deed.action in possible and (deed.action in LOOKING or deed.action in rights))
