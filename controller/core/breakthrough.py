"""Breakthrough, and the end of erosion behind it, from the sparks that each stretch of feed costs.

While the full front erodes, a micrometre of feed costs a steady number of sparks. When the tip pierces the far face the
front shrinks and the number falls: a change that a CUSUM finds and dates (signals as in Xia et al. 2020,
10.1007/s00170-019-04530-3: spark ratio, short ratio and feed rate change abruptly). A needle pierces long before its
full diameter has passed, so the hole is not done then; it is done when feeding on meets nothing more. That second
test needs no model of the electrode: a tip cannot run free for much longer than a gap inside solid work, so a *free
run* of several gaps' length, with the source plainly on, is proof of being through, and its beginning tells how long
the worn cone was.
"""

from __future__ import annotations

from collections import deque
from math import log
from typing import Final

from controller.core.cusum import Cusum

# A slice of feed: eight useful moves of a usual feed axis; in full erosion it costs tens of sparks. Chosen so that the
# counting noise of a slice stays near 20 %.
SLICE_UM: Final = 20.0
# Free run that proves the way free: three times the widest gap (10–100 µm, references §3).
FREE_RUN_UM: Final = 300.0
# Kept free above whatever lies below the plate. Chosen so.
ROOM_BELOW_MARGIN_MM: Final = 0.5
# Share of the usual sparks below which a stretch is free: sparks from the flank never quite cease in dirty water.
# A front that still takes this share widens the hole by (share × radius / thickness) for each micrometre of feed: some
# 10 µm of radius for each millimetre that the cone might yet be long. Chosen so that this is within a usual tolerance.
FREE_SHARE: Final = 0.015
# Fewer than this in a whole free run are chips, not a front: a source that takes much at a spark makes few. Chosen.
FREE_SPARKS: Final = 3.0
# A way once found free is doubted only for a share so many times as large. Chosen: twice, since sparks beside the rod
# come in clusters, and a stray one late in a long run must not move its beginning; a flank that does come shows more.
DOUBT_TIMES: Final = 2.0
# CUSUM on ln(sparks in a slice / usual): scatter about 0.35, shift to find ln(1/2) at least; allowance half of that
# shift, threshold 5 scatters (Montgomery, ch. 9: k = δ/2, h = 4 to 5), in the score's own unit.
ALLOWANCE: Final = 0.35
THRESHOLD: Final = 1.75
# No front ends above this share of the thickness: first spark and wear make a hole seem deeper than it is. Chosen.
VANISHED_SHARE: Final = 0.7


class Breakthrough:
    """Follows one hole. Feed it the tip's progress; read where it pierced and how long it has run free.

    Args:
        thickness_um: thickness of the work.
        usual: sparks a micrometre in full erosion, from earlier holes; None before the first.

    Attributes:
        pierced_um: tip feed at which the tip is dated to have pierced the far face, None before.
        free_from_um: tip feed at which the present free run began, None while there is none.
        share: share of the usual sparks that the last stretch as long as a free run cost; 1 before there was one.
    """

    __slots__ = (
        "_counted",
        "_cusum",
        "_edge_um",
        "_full",
        "_most",
        "_recent",
        "_sparks",
        "_thickness_um",
        "free_from_um",
        "pierced_um",
        "share",
    )

    def __init__(self, thickness_um: float, usual: float | None) -> None:
        self._thickness_um = thickness_um
        self._recent: deque[float] = deque(maxlen=int(FREE_RUN_UM / SLICE_UM))
        self._full = usual
        self._counted: list[float] = []
        self._cusum = Cusum(target=0.0, allowance=ALLOWANCE, threshold=THRESHOLD, downward=True)
        self._edge_um = 0.0
        self._most = 0.0
        self._sparks = 0.0
        self.pierced_um: float | None = None
        self.free_from_um: float | None = None
        self.share = 1.0

    @property
    def usual(self) -> float | None:
        """Sparks a micrometre of feed in full erosion, as this hole showed it (earlier holes' until then)."""
        if len(self._counted) >= 5:
            ordered = sorted(self._counted)
            return ordered[len(ordered) // 2] / SLICE_UM
        if self._full is not None or self._edge_um <= self._thickness_um:
            return self._full
        # A sheet too thin to have shown a whole front: the costliest slice is what comes nearest to it.
        return self._most / SLICE_UM if self._most else None

    @property
    def vanished(self) -> bool:
        """The front has gone where the work is still solid: a whole free run that began well above the far face."""
        whole = len(self._recent) == self._recent.maxlen
        return whole and self._edge_um - FREE_RUN_UM < VANISHED_SHARE * self._thickness_um and self._free()

    def _free(self) -> bool:
        usual = self.usual
        return usual is not None and sum(self._recent) <= max(FREE_SHARE * usual * FREE_RUN_UM, FREE_SPARKS)

    def skip_to(self, feed_um: float) -> None:
        """Begin at this feed: what lies above was made at another time."""
        self._edge_um = feed_um
        self._recent.clear()

    def progress(self, deepest_um: float, sparks: float) -> None:
        """The tip's deepest feed so far, and the sparks since the last call."""
        self._sparks += sparks
        while deepest_um - self._edge_um >= SLICE_UM:
            self._edge_um += SLICE_UM
            self._slice(self._sparks)
            self._sparks = 0.0

    def _slice(self, sparks: float) -> None:
        self._most = max(self._most, sparks)
        # From a quarter to four fifths of the thickness the front is whole and not yet through. Chosen so.
        if 0.25 * self._thickness_um < self._edge_um < 0.8 * self._thickness_um:
            self._counted.append(sparks)
        usual = self.usual
        if usual is None:
            return
        expected = usual * SLICE_UM
        if self.pierced_um is None and self._edge_um > 0.8 * self._thickness_um:
            score = log((sparks + 1.0) / (expected + 1.0))
            # One empty slice must not do it alone: a score counts for a factor of 4.5 at most. Chosen so.
            if self._cusum.update(max(score, -1.5), at=self._edge_um):
                self.pierced_um = self._cusum.changed_after
        self._recent.append(sparks)
        run = len(self._recent) * SLICE_UM
        whole = len(self._recent) == self._recent.maxlen
        if whole:
            self.share = sum(self._recent) / (usual * run) if usual else 1.0
        most = max(FREE_SHARE * usual * run, FREE_SPARKS)
        if self.free_from_um is not None:
            if sum(self._recent) > DOUBT_TIMES * most:
                self.free_from_um = None
        elif whole and sum(self._recent) <= most and self._edge_um > self._thickness_um:
            self.free_from_um = self._edge_um - run
