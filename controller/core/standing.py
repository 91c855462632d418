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
    after, hands, begun, time_s = BROKE_OFF, "", 0, 0.0
    finished: dict[int, str] = {}
    checkpoint: Checkpoint | None = None
    surface: SurfaceMapped | None = None
    prompts = advances = hot = 0
    for event in events:
        after, time_s = BROKE_OFF, event.time_s
        match event:
            case HoleStarted():
                begun = event.hole
            case HoleFinished():
                finished[event.hole] = event.outcome
                begun = 0
            case Checkpoint():
                checkpoint, hands = event, ""
            case SurfaceMapped():
                surface = event
            case PromptRaised():
                prompts, hands = event.prompt, event.topic
            case ElectrodeAdvanced():
                advances = event.count
            case SourceOpenedHot():
                hot = event.count
            case RunEnded():
                after = event.outcome
    return Standing(after, finished, begun, checkpoint, surface, hands, prompts, advances, hot, time_s)
