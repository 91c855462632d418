"""What the operator wishes for while the run goes on: kept until the next safe moment, then fulfilled once."""

from __future__ import annotations

from controller.core.requests import MeasureRequest, PauseRequest, Request, SkipRequest


class Wishes:
    """Wishes that wait.

    Attributes:
        hold: Why to hold; empty when nobody wants to.
        measure: The electrode is to be measured.
        skip: The hole to be left as it is; 0 for none.
    """

    __slots__ = ("hold", "measure", "skip")

    def __init__(self) -> None:
        self.hold = ""
        self.measure = False
        self.skip = 0

    def take(self, request: Request) -> None:
        """Keep what a request asks for, if it is a wish."""
        if isinstance(request, PauseRequest):
            self.hold = request.why or "asked for"
        elif isinstance(request, MeasureRequest):
            self.measure = True
        elif isinstance(request, SkipRequest):
            self.skip = request.hole

    def aside(self, hole: int) -> bool:
        """Whether a hole that is being made is to be left, at least for a while."""
        return self.measure or self.hold != "" or self.skips(hole)

    def skips(self, hole: int) -> bool:
        """Whether a hole is to be left as it is."""
        return self.skip == hole

    def words(self) -> tuple[str, ...]:
        """What waits, one word each: `hold`, `measure`, `skip`."""
        waits = (("hold", self.hold != ""), ("measure", self.measure), ("skip", self.skip != 0))
        return tuple(word for word, true in waits if true)
