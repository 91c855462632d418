"""Where a run stands: everything that taking it up again needs, read from its events alone.

Motion is never replayed. What is taken over is what was made (finished holes), what was begun, and what was believed;
where things are is found out anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from controller.core.events import (
    Checkpoint,
    ElectrodeAdvanced,
    Event,
    HoleDoubted,
    HoleFinished,
    HoleStarted,
    PromptRaised,
    RunEnded,
    SourceOpenedHot,
    SurfaceMapped,
)

BROKE_OFF = "broke off"


@dataclass(slots=True, frozen=True)
class Standing:
    """A run that ended early or broke off.

    Attributes:
        after: how it ended, `broke off` when it left no word.
        finished: the holes made, in order, each with its outcome.
        begun: the hole that was begun and not finished; 0 for none.
        checkpoint: what was believed of the electrode last, None before it was measured.
        surface: the face of the work as it was mapped last.
        hands: topic of the last prompt, when hands may have been at work since the last checkpoint; else empty.
        time_s: machine time of the last event.
    """

    after: str
    finished: dict[int, str]
    begun: int
    checkpoint: Checkpoint | None
    surface: SurfaceMapped | None
    hands: str
    prompts: int
    advances: int
    hot_openings: int
    time_s: float

    @property
    def through(self) -> list[int]:
        """Finished holes that are open, in the order made."""
        return [hole for hole, outcome in self.finished.items() if outcome == "through"]


def standing(events: Iterable[Event]) -> Standing:
    """Where the run of these events stands."""
    tally = _Tally()
    for event in events:
        tally.take(event)
    return tally.standing()


class _Tally:
    """Adds up events."""

    def __init__(self) -> None:
        self._after, self._hands, self._begun, self._time_s = BROKE_OFF, "", 0, 0.0
        self._finished: dict[int, str] = {}
        self._checkpoint: Checkpoint | None = None
        self._surface: SurfaceMapped | None = None
        self._prompts = self._advances = self._hot = 0

    def take(self, event: Event) -> None:
        """The next event."""
        self._after, self._time_s = BROKE_OFF, event.time_s
        match event:
            case HoleStarted() | HoleFinished() | HoleDoubted():
                self._hole(event)
            case Checkpoint():
                self._checkpoint, self._hands = event, ""
            case SurfaceMapped():
                self._surface = event
            case PromptRaised():
                self._prompts, self._hands = event.prompt, event.topic
            case ElectrodeAdvanced():
                self._advances = event.count
            case SourceOpenedHot():
                self._hot = event.count
            case RunEnded():
                self._after = event.outcome

    def _hole(self, event: HoleStarted | HoleFinished | HoleDoubted) -> None:
        if isinstance(event, HoleFinished):
            self._finished[event.hole] = event.outcome
            self._begun = 0
            return
        if isinstance(event, HoleDoubted):
            self._finished.pop(event.hole, None)
        self._begun = event.hole

    def standing(self) -> Standing:
        """The sum."""
        return Standing(
            self._after,
            self._finished,
            self._begun,
            self._checkpoint,
            self._surface,
            self._hands,
            self._prompts,
            self._advances,
            self._hot,
            self._time_s,
        )
