"""What a person asks of the core, delivered through the loop's queue: never a direct call."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

# The prompt of a hold that somebody asked for, and what may be answered: nobody but a person answers it.
HELD: Final = "held"
GO_ON, MEASURE_FIRST, END = "go on", "measure first", "end"


@dataclass(slots=True, frozen=True)
class Answer:
    """The operator's answer to a prompt; `reading` is a number typed in with it (a gauged diameter in mm, say)."""

    prompt: int
    choice: str
    reading: str = ""


@dataclass(slots=True, frozen=True)
class HoldRequest:
    """Stop what is being done, end safe, wait."""

    why: str


@dataclass(slots=True, frozen=True)
class PauseRequest:
    """Stand safe at the next chance and wait for the operator's word, as a prompt; the run is not over."""

    why: str


@dataclass(slots=True, frozen=True)
class SkipRequest:
    """Leave this hole as it is and go on with the next; a hole that isn't being made any more is let be."""

    hole: int


@dataclass(slots=True, frozen=True)
class MeasureRequest:
    """Measure the electrode before going on."""


Request = Answer | HoldRequest | PauseRequest | SkipRequest | MeasureRequest
