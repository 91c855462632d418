"""A core that others watch: it sits between the machine and the real core, and passes everything on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from controller.core.events import Event, PromptRaised
from controller.core.observation import Observation
from controller.core.requests import Request
from sim.rehearsal import Core, Ticked


class Onlooker(Protocol):
    """Looks on, tick by tick."""

    def look(self, seen: Observation, events: Sequence[Event]) -> None:
        """What the core was shown in this tick, and what it told. The truth is that of the tick just passed."""


class Spied:
    """The core that is watched."""

    def __init__(self, core: Core, onlookers: Sequence[Onlooker] = ()) -> None:
        self.core = core
        self.onlookers = list(onlookers)

    @property
    def waiting(self) -> PromptRaised | None:
        """The prompt that waits for an answer."""
        return self.core.waiting

    @property
    def rests_until_s(self) -> float:
        """Until when it has nothing to do."""
        return self.core.rests_until_s

    @property
    def gap_state(self) -> str:
        """What the core takes the gap for."""
        return self.core.gap_state

    def tick(self, seen: Observation, requests: Sequence[Request] = ()) -> Ticked:
        """Pass the tick on, and let everybody look."""
        out = self.core.tick(seen, requests)
        for onlooker in self.onlookers:
            onlooker.look(seen, out.events)
        return out
