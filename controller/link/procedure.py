"""Procedures with a board (connect, home) as generators: each `yield` waits for the next look at bytes and time."""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import TypeAlias, TypeVar

T = TypeVar("T")
Procedure: TypeAlias = Generator[None, None, T]


class Clock:
    """The time that was told last; a board's parts share one. Nothing in `link` reads a clock of its own.

    Attributes:
        now_s: Time of the look that is going on.
    """

    __slots__ = ("now_s",)

    def __init__(self) -> None:
        self.now_s = 0.0

    def until(self, true: Callable[[], bool], timeout_s: float) -> Procedure[bool]:
        """Wait until something is true; False when the time ran out first."""
        end_s = self.now_s + timeout_s
        while not true():
            if self.now_s >= end_s:
                return False
            yield
        return True
