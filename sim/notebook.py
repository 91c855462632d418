"""A rehearsal kept in memory, for those who only want to count."""

from __future__ import annotations

from dataclasses import dataclass, field

from controller.core.events import Event
from controller.record.journal import TrueHole, TrueTip


@dataclass(slots=True)
class Notebook:
    """Keeps what a rehearsal tells in memory."""

    events: list[Event] = field(default_factory=list)
    tips: list[TrueTip] = field(default_factory=list)
    holes: dict[int, TrueHole] = field(default_factory=dict)

    def append(self, event: Event) -> None:
        """Take an event."""
        self.events.append(event)

    def append_true_tip(self, tip: TrueTip) -> None:
        """Take a true tip length."""
        self.tips.append(tip)

    def append_true_hole(self, truth: TrueHole) -> None:
        """Take what a hole really became; a hole drilled again counts as it was left last."""
        self.holes[truth.hole] = truth
