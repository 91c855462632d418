"""What a spark is worth: by how much it deepens the hole, place by place.

A needle that enters, the whole front, a cone that leaves at the far face: the same spark deepens the hole by twice as
much here as there. Depth gained over sparks counted tells it without any model of the electrode, but only after so many
sparks that the opening and closing of the gap count for little, and by then the place is another. What helps is that
holes resemble each other: each slice is foretold by the same slice of the holes before, and corrected by how this hole
has gone so far.
"""

from __future__ import annotations

from typing import Final

# A slice of depth: two gaps of a usual front (50 µm, middle of the usual range of references §3). Chosen so.
SLICE_UM: Final = 100.0
# This hole's own correction is learned over so many sparks: some four gaps of a usual front, so that closing or opening
# the gap counts for little. Looked at so often: so that some useful moves fall into it. Both chosen.
MEMORY: Final = 400.0
LOOK: Final = 40
# What the holes before foretell follows a change of rod, water or plate within some three holes. Chosen.
FOLLOWED: Final = 0.3
# A hole tells nothing of a slice in which it made fewer sparks: chosen, one crater more or less must not matter.
FEWEST: Final = 10
# A hole is off what the holes before foretell by no more than this factor. Chosen.
MOST_OFF: Final = 4.0


class Worth:
    """Depth a spark (µm) by depth of the hole.

    Args:
        first_um: what a spark is taken to be worth before any was seen.
        least_um: never less.
        most_um: never more.
    """

    __slots__ = (
        "_factor",
        "_foretold_um",
        "_gained_um",
        "_least_um",
        "_looked",
        "_memory",
        "_most_um",
        "_running_um",
        "_slices",
        "_sparks",
        "_told",
    )

    def __init__(self, first_um: float, least_um: float, most_um: float) -> None:
        self._least_um, self._most_um = least_um, most_um
        # What the holes before foretell, slice by slice; depth gained and sparks of this one.
        self._told: list[float] = []
        self._slices: list[list[float]] = []
        # For places where no hole has been yet: what was gained a spark lately.
        self._running_um = first_um
        self._factor = 1.0
        self._memory = 2.0 * LOOK
        self._gained_um = self._foretold_um = 0.0
        self._looked = 0

    def begin(self) -> None:
        """A new hole: what the last one showed joins what was known."""
        for place, (gained_um, sparks) in enumerate(self._slices):
            if sparks < FEWEST:
                break  # nothing deeper can have been met either
            worth_um = self._within(gained_um / sparks)
            if place == len(self._told):
                self._told.append(worth_um)
            self._told[place] += FOLLOWED * (worth_um - self._told[place])
        self._slices = []
        self._factor = 1.0
        self._gained_um = self._foretold_um = 0.0
        self._looked = 0

    def at(self, depth_um: float) -> float:
        """Depth a spark (µm) at a depth of the hole."""
        place = int(depth_um / SLICE_UM)
        return self._within(self._factor * self._told[place] if place < len(self._told) else self._running_um)

    def saw(self, depth_um: float, gained_um: float, sparks: int) -> None:
        """A tick of erosion: the greatest depth so far, what of it is new, and the sparks."""
        if not sparks and not gained_um:
            return
        place = int(depth_um / SLICE_UM)
        while len(self._slices) <= place:
            self._slices.append([0.0, 0.0])
        self._slices[place][0] += gained_um
        self._slices[place][1] += sparks
        self._gained_um += gained_um
        self._foretold_um += (
            self._told[place] if place < len(self._told) else self._running_um / self._factor
        ) * sparks
        self._looked += sparks
        if self._looked >= LOOK:
            self._learn()

    def _learn(self) -> None:
        self._memory = min(self._memory + self._looked, MEMORY)
        step = self._looked / self._memory
        self._running_um += step * (self._within(self._gained_um / self._looked) - self._running_um)
        shown = self._gained_um / self._foretold_um
        self._factor += step * (min(max(shown, 1.0 / MOST_OFF), MOST_OFF) - self._factor)
        self._gained_um = self._foretold_um = 0.0
        self._looked = 0

    def _within(self, worth_um: float) -> float:
        return min(max(worth_um, self._least_um), self._most_um)
