"""What a person asks of the core, delivered through the loop's queue: never a direct call."""

from __future__ import annotations

from dataclasses import dataclass


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


Request = Answer | HoldRequest
