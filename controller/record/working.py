"""How long each hole kept the machine at work: eroding, shorts and the ways back after them, what had to be found."""

from __future__ import annotations

from collections.abc import Iterable

from controller.core.events import Event, HoleFinished, HoleStarted, PromptAnswered, PromptRaised
from controller.plan.budget import AROUND_A_HOLE


def working_seconds(events: Iterable[Event]) -> dict[int, float]:
    """Seconds of work at each finished hole, by number.

    From standing above it to leaving it, without waiting for the operator and without what the budget counts around
    every hole by itself; never less than it was eroded. A hole that was begun twice in a row (another rod had to finish
    it) counts from its first beginning; made again later, as it was made last.
    """
    worked: dict[int, float] = {}
    at, since_s, waited_s, asked_s = 0, 0.0, 0.0, None
    for event in events:
        match event:
            case HoleStarted() if event.hole != at:
                at, since_s, waited_s = event.hole, event.time_s, 0.0
            case PromptRaised():
                asked_s = event.time_s
            case PromptAnswered() if asked_s is not None:
                waited_s += event.time_s - asked_s
                asked_s = None
            case HoleFinished() if event.hole == at:
                around_s = AROUND_A_HOLE.expected + waited_s
                worked[at] = max(event.time_s - since_s - around_s, event.erode_s)
                at = 0
            case _:
                pass
    return worked
