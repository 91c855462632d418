"""One hole in the making: what is counted and believed of it, and the events that tell it."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt
from typing import Final

from controller.core.breakthrough import FREE_RUN_UM, Breakthrough
from controller.core.events import BrokeThrough, HoleFinished, HoleProgress, HoleStarted
from controller.core.gap import GapState
from controller.core.rig import Rig
from controller.plan.plan import PlannedHole
from controller.settings.units import UM_PER_MM

# The depth counts as new when it grew by this much: less than a useful move of a usual feed axis.
DEEPER_UM: Final = 2.0
# How well a hole shows the length of the worn cone: five slices of breakthrough.py. Chosen so.
CONE_U_MM: Final = 0.1
_SHARE = {GapState.OPEN: 0, GapState.SPARKING: 1, GapState.SHORTED: 2, GapState.OFF: 3}


@dataclass(slots=True, frozen=True)
class Ending:
    """How a hole ended: `through`, `undersize` or `failed`, and why when it is not through."""

    outcome: str
    reason: str = ""


class Hole:
    """Counts, depths and beliefs of the hole being made; depths are arc lengths of the slide in µm.

    Attributes:
        zero_um: arc length at the first spark, None before.
        deepest_um: greatest arc length that the tip reached.
        deeper_s: when it last got deeper.
        shorts: shorts that needed the ladder; `recoveries`: those that it ended.
        vain_shorts: shorts since it last got deeper.
        stalls: lifts because it got no deeper.
    """

    __slots__ = (
        "_booked",
        "_planned",
        "_reported_s",
        "_rig",
        "_shares",
        "_sparks",
        "_start_s",
        "_thickness_um",
        "deeper_s",
        "deepest_um",
        "erode_s",
        "recoveries",
        "shorts",
        "stalls",
        "through",
        "vain_shorts",
        "zero_um",
    )

    def __init__(self, rig: Rig, planned: PlannedHole) -> None:
        self._rig = rig
        self._planned = planned
        self._start_s = self._reported_s = self.deeper_s = rig.now_s
        self._shares = [0.0, 0.0, 0.0, 0.0]
        self._booked = 0.0
        self._sparks = 0
        self._thickness_um = rig.given.job.work.thickness_mm * UM_PER_MM
        self.through = Breakthrough(self._thickness_um, rig.usual_sparks_per_um)
        self.zero_um: float | None = None
        self.deepest_um = 0.0
        self.erode_s = 0.0
        self.shorts = self.vain_shorts = self.recoveries = self.stalls = 0

    # -- while it is made ------------------------------------------------------------------------------------------

    def begin(self) -> None:
        """Tell that the electrode stands above the hole."""
        rig, hole = self._rig, self._planned
        rig.hole = hole.index
        electrode = rig.electrode
        rig.tell(HoleStarted(rig.now_s, hole.index, hole.x_mm, hole.y_mm, electrode.tip_mm, electrode.tip_u_mm))

    def sparked(self, tip_um: float) -> None:
        """The first spark at the face: depth counts from here."""
        self.zero_um = self.deepest_um = tip_um
        self.deeper_s = self._rig.now_s

    def taken_up(self, zero_um: float, front_um: float) -> None:
        """The hole was begun before an interruption: its face and its front, as they were found again."""
        self.sparked(zero_um)
        self.deepest_um = front_um
        self.through.skip_to(front_um - zero_um)
        self._booked = self._share_done()

    def count(self, tip_um: float, sparks: int) -> None:
        """Take in a live tick: where the tip is, and the sparks of the tick."""
        zero_um = self.zero_um
        if zero_um is None:
            return
        rig = self._rig
        self._sparks += sparks
        rig.feed_um = tip_um - zero_um
        if tip_um <= self.deepest_um + DEEPER_UM:
            return
        self.deepest_um = tip_um
        self.deeper_s = rig.now_s
        self.vain_shorts = 0
        was = self.through.pierced_um
        self.through.progress(tip_um - zero_um, self._sparks)
        self._sparks = 0
        pierced = self.through.pierced_um
        if was is None and pierced is not None:
            rig.tell(
                BrokeThrough(rig.now_s, self._planned.index, pierced / UM_PER_MM, "fewer sparks for each micrometre")
            )

    def eroded(self, state: GapState, tick_s: float, report_s: float) -> None:
        """Count a tick of erosion by gap state; tell the progress every `report_s`."""
        self.erode_s += tick_s
        self._shares[_SHARE[state]] += tick_s
        if self._rig.now_s - self._reported_s >= report_s:
            self._report()

    def shorted(self) -> None:
        """Count a short that is over."""
        self.shorts += 1
        self.vain_shorts += 1
        self.recoveries += 1

    @property
    def feed_um(self) -> float:
        """Greatest depth of the axis below the first spark."""
        return 0.0 if self.zero_um is None else self.deepest_um - self.zero_um

    @property
    def whole_front(self) -> bool:
        """True while the full front erodes: below the face, and not yet near the far side."""
        # A tenth at either end is left out: chosen, since a cone enters and leaves the plate gradually.
        return 0.1 * self._thickness_um < self.feed_um < 0.9 * self._thickness_um

    def _report(self) -> None:
        rig = self._rig
        total = sum(self._shares)
        open_, spark, short, off = (share / total for share in self._shares)
        feed_mm = self.feed_um / UM_PER_MM
        wear_mm = rig.electrode.wear_mm * self._share_done()
        rate = rig.sense.gap.spark_rate_hz
        rig.tell(
            HoleProgress(rig.now_s, self._planned.index, feed_mm, feed_mm - wear_mm, open_, spark, short, off, rate)
        )
        self._shares = [0.0, 0.0, 0.0, 0.0]
        self._reported_s = rig.now_s

    # -- when it is over -------------------------------------------------------------------------------------------

    def book_wear(self) -> None:
        """Take the wear of what was drilled since the last time off the believed tip."""
        share = self._share_done()
        self._rig.electrode.drilled(share - self._booked)
        self._booked = share

    def finish(self, ending: Ending) -> None:
        """Draw the conclusions for the electrode, and tell the hole."""
        rig, hole = self._rig, self._planned
        wear_mm = self._share_done() * rig.electrode.wear_mm
        self.book_wear()
        rig.usual_sparks_per_um = self.through.usual
        self._see_cone(ending)
        size_mm, size_u_mm = self._exit_size(ending)
        feed_mm = self.feed_um / UM_PER_MM
        rig.tell(
            HoleFinished(
                rig.now_s,
                hole.index,
                hole.x_mm,
                hole.y_mm,
                ending.outcome,
                ending.reason,
                self._start_s,
                rig.now_s - self._start_s,
                self.erode_s,
                feed_mm,
                wear_mm,
                max(feed_mm - rig.given.job.work.thickness_mm, 0.0),
                size_mm,
                size_u_mm,
                self.shorts,
                self.recoveries,
            )
        )
        rig.check_point()
        rig.finished(hole.index, ending.outcome)

    def _share_done(self) -> float:
        return min(self.feed_um / UM_PER_MM / self._rig.given.job.work.thickness_mm, 1.0)

    def _see_cone(self, ending: Ending) -> None:
        """The cone is as long as what was fed from the far face to the last sparks; those beside the rod are none."""
        through, electrode = self.through, self._rig.electrode
        if ending.outcome != "through":
            return
        if through.free_from_um is not None:
            last_um = through.free_from_um
        elif through.share > self._rig.flank_share:
            last_um = self.feed_um
        else:
            return
        face_um = self._thickness_um + electrode.wear_mm * UM_PER_MM
        electrode.cone_seen(max(last_um - face_um, 0.0) / UM_PER_MM, CONE_U_MM)

    def _exit_size(self, ending: Ending) -> tuple[float, float]:
        """Estimated exit diameter and its standard uncertainty, mm; 0 for a hole that is not open.

        A free run means that the full diameter has passed: rod + 2 × overcut.
        """
        given = self._rig.given
        full_mm = given.job.electrode.diameter_mm + 2.0 * given.overcut.mean_mm
        u_mm = given.overcut.u_new_diameter_mm
        if ending.outcome == "through":
            return full_mm, u_mm
        if ending.outcome == "failed":
            return 0.0, u_mm
        share, share_u = self._share_shown()
        return full_mm * share, hypot(u_mm, full_mm * share_u)

    def _share_shown(self) -> tuple[float, float]:
        """Share of the full diameter that the far face shows when the room was used up first, and its uncertainty.

        The cone, taken for straight, is longer than what was fed since the tip pierced, or the way had been found free;
        it is hardly longer than believed. Between the two nothing is known: a rectangle (GUM, JCGM 100:2008, 4.3.7). A
        tip that was not seen to pierce may show nothing, or all but what a free run takes to find.
        """
        pierced, cone = self.through.pierced_um, self._rig.electrode
        least = 0.0
        if pierced is not None:
            past_um = self.feed_um - pierced
            longest_um = max((cone.cone_mm + 2.0 * cone.cone_u_mm) * UM_PER_MM, past_um + FREE_RUN_UM)
            least = max(past_um / longest_um, 0.0)
        return 0.5 * (least + 1.0), (1.0 - least) / sqrt(12.0)
