"""Whether a hole was ended too early: how much larger it would get with its very electrode driven on without limit.

The plant's "full diameter" (truth.csv) is that of one ideal hole, cut by a fresh rod with an ideal servo. Where holes
scatter much, or where a slower cut sparks longer beside the rod, that is no measure of when to stop; this is. A share
of the holes is looked at, on copies: driving on costs time.
"""

from __future__ import annotations

from collections.abc import Sequence

from controller.core.events import Event, HoleFinished
from controller.core.observation import Observation
from sim.settings import PlantSettings
from sim.state import TrueState
from sim.truth import driven_on_um

# One hole in so many is looked at. Chosen: a few dozen of a diffuser.
EVERY = 8
# Larger by no more than this (um): what the main job allows an exit to be short of full.
LARGER_UM = 30.0


class DrivenOn:
    """Looks at finished holes.

    Attributes:
        looked_at: Holes looked at; `ended_well` those of them that would get no more than LARGER_UM larger.
        worst_um: By how much the worst would.
    """

    def __init__(self, truth: TrueState, plant: PlantSettings, seed: int) -> None:
        self._truth, self._plant, self._seed = truth, plant, seed
        self._finished = 0
        self.looked_at = self.ended_well = 0
        self.worst_um = 0.0

    def look(self, _seen: Observation, events: Sequence[Event]) -> None:
        """Drive on from a hole that has just been called through."""
        for event in events:
            if isinstance(event, HoleFinished) and event.outcome == "through":
                self._finished += 1
                if self._finished % EVERY == 0:
                    self._drive_on(event.hole)

    def _drive_on(self, number: int) -> None:
        hole = self._truth.holes[number]
        on_um = driven_on_um(self._plant, self._truth.erosion.electrode, hole, self._truth.dirt, self._seed)
        larger_um = max(on_um - hole.exit_diameter_um(), 0.0)
        self.looked_at += 1
        self.ended_well += larger_um <= LARGER_UM
        self.worst_um = max(self.worst_um, larger_um)
