"""When a hole is over: the full diameter has passed the far face, or never will with this rod and this room.

No prediction of wear or taper ends a hole. What ends it is a way that is found free, past the worn cone as far as that
is believed to reach, and sparks that fall off until what they would still widen the hole by does not matter; or the end
of the room below the plate, where the sparks that are left tell whose they are.
"""

from __future__ import annotations

from math import ceil, inf
from typing import Final

from controller.core.approach import AGAIN, APPROACHES_MAX
from controller.core.breakthrough import FREE_RUN_UM, ROOM_BELOW_MARGIN_MM
from controller.core.causes import Cause
from controller.core.guards import IDLE_MOST_S
from controller.core.hole import Ending, Hole
from controller.core.path import Slide
from controller.core.rig import Rig, guessed_cone_mm
from controller.core.spark_out import SparkOut
from controller.settings.units import UM_PER_MM

# Without a spark behind the far face, the believed cone past: nothing is left to remove. On the way there it takes as
# long as the source may stand live without removal, less a second and more to withdraw and open. Both chosen.
SPARKED_OUT_S: Final = 5.0
SPARKLESS_S: Final = IDLE_MOST_S - 1.3
# What leaving takes beside a long way up: the board's queue, and a gap that opens after a drop-out. Chosen.
LEAVING_S: Final = 1.0
# Where the room ends, a front that takes no more than this share of its sparks is spent: what it would still widen the
# hole by is near the uncertainty of its size. Chosen so.
SPENT_SHARE: Final = 0.04
# What a flat-ended rod still has there comes from beside it, up to such a share, and scatters so much from hole to
# hole. Both chosen.
FLANK_MOST: Final = 0.2
FLANK_TIMES: Final = 1.5
# Holes of a rod that sound its cone, each half as far on again as the one before, and how far: so many rod diameters,
# and past a cone that has grown in proportion meanwhile. At two to four seconds each, a dozen of them cost less than a
# minute of a job. Chosen so.
SOUNDING_TIMES: Final = 1.5
SOUNDINGS: Final = frozenset(ceil(3 * SOUNDING_TIMES**n) for n in range(20))
SOUNDED_DIAMETERS: Final = 2.5
# However well it seems known, the next hole's cone may be longer by this share. Chosen: twice what it grows by.
CONE_ROOM: Final = 0.15
WHOLE_SHARE: Final = 0.5  # of the usual sparks at the end of the room: the front never came out; chosen
TRICKLE_SHARE: Final = 0.1  # of the usual sparks: no front any more, but perhaps a cone; chosen
SPARK_OUT_TIMES: Final = 2.0  # no longer than so many times what the hole has taken; chosen

# Not the end of a hole: the front has gone where the work is still solid, so the rod broke or slipped, or the work is
# thinner than the job says.
VANISHED: Final = Ending("failed", "the front vanished")
# Nor this: the rod in use is too needle-shaped for the room below the plate; a flat-ended one finishes the hole.
NO_ROOM: Final = "the room below the plate was used up before the full diameter had passed"
NEEDLE: Final = Ending("undersize", NO_ROOM)


class HoleEnd:
    """Judges one hole, tick by tick.

    Attributes:
        thin: The work is thinner than the job says: a front that vanished is no riddle.
        sparking_out: The tip is to stay where it is, while the last sparks beside it fall off.
    """

    __slots__ = (
        "_dwelt", "_hole", "_least_um", "_most_um", "_out", "_returned_um", "_returns", "_rig", "sparking_out", "thin",
    )  # fmt: skip

    def __init__(self, rig: Rig, hole: Hole) -> None:
        self._rig = rig
        self._hole = hole
        work = rig.given.job.work
        self._most_um = (work.thickness_mm + work.clear_below_mm - ROOM_BELOW_MARGIN_MM) * UM_PER_MM
        self._least_um = rig.full_um = self._choose_least_um()
        rig.pierce_um = (work.thickness_mm + rig.electrode.wear_mm) * UM_PER_MM
        self._out: SparkOut | None = None
        self._dwelt = self.thin = self.sparking_out = False
        self._returned_um, self._returns = -inf, 0

    @property
    def enough_um(self) -> float:
        """The feed before which no free run ends the hole, as far as there is room for it."""
        return min(self._least_um, self._most_um)

    @property
    def whole(self) -> bool:
        """The front still takes its usual sparks, and was not seen to come out."""
        through = self._hole.through
        return through.pierced_um is None and through.share > WHOLE_SHARE

    def _choose_least_um(self) -> float:
        """The feed before which no free run ends the hole: through the work, and past the worn cone as it is believed.

        Where the face erodes far ahead of the tip, the way is free until the cone's flank comes to the far face, and
        that may be longer than any free run that would be waited for. So every hole goes past the cone by what is not
        known of it, and by the gap beside the rod: a cone that has grown shows itself, and the next hole goes further.
        Some holes sound it, as far as a cone can be: ever fewer, since a rod's cone grows less and less.
        """
        given, electrode = self._rig.given, self._rig.electrode
        unsure_mm = max(2.0 * electrode.cone_u_mm, CONE_ROOM * electrode.cone_mm)
        cone_mm = max(electrode.cone_mm + unsure_mm, guessed_cone_mm(given))
        if electrode.cones_seen in SOUNDINGS:
            cone_mm = max(SOUNDING_TIMES * cone_mm, SOUNDED_DIAMETERS * given.job.electrode.diameter_mm)
        past_mm = electrode.wear_mm + cone_mm + given.overcut.mean_mm
        return (given.job.work.thickness_mm + past_mm) * UM_PER_MM

    def judge(self, slide: Slide) -> Ending | None:
        """With the source on and the tip there, some spark met: how the hole ended, None when it goes on."""
        return self._over(slide.tip_um) or self._quiet_too_long(slide.axis_um)

    def given_up(self, how: str) -> Ending:
        """A hole that is given up; beyond the far face, once it came out, it is what lies there that is in the way."""
        if self._hole.feed_um > self._rig.pierce_um:
            cause = Cause.NO_BREAKTHROUGH if self.whole else Cause.STRUCK_BEHIND
            return Ending("failed", f"{cause.value}: {how}")
        return Ending("failed", how)

    def _quiet_too_long(self, axis_um: float) -> Ending | None:
        """Out, and down again, before the source has stood live without removal for too long; not for ever."""
        rig, hole = self._rig, self._hole
        way_up_s = max(axis_um, 0.0) / UM_PER_MM / rig.machine.axes.top_speed_mm_s[2]
        if rig.sense.idle_s <= min(SPARKLESS_S, IDLE_MOST_S - way_up_s - LEAVING_S):
            return None
        if hole.through.free_from_um is not None:
            return Ending("through")
        self._returns = self._returns + 1 if hole.deepest_um <= self._returned_um else 1
        self._returned_um = hole.deepest_um
        return AGAIN if self._returns < APPROACHES_MAX else self.given_up("no more sparks and no free way")

    def _over(self, tip_um: float) -> Ending | None:
        through, zero_um = self._hole.through, self._hole.zero_um
        if zero_um is None:
            return None
        if through.vanished and not self.thin:
            return VANISHED
        feed_um = tip_um - zero_um
        passed = feed_um >= self.enough_um
        free = through.free_from_um is not None
        if free and self._rig.sense.idle_s > (SPARKED_OUT_S if passed else SPARKLESS_S):
            return Ending("through")
        # Sparks beside a rod that has passed may be its cone's, or only late ones: when a free run's length on they
        # still come, they are waited for once before the way on can tell, and again at the end.
        on = feed_um >= self._least_um + FREE_RUN_UM
        trickles = on and not self._dwelt and through.share <= TRICKLE_SHARE
        at_end = feed_um >= self._most_um
        self.sparking_out = passed and (free or trickles or at_end)
        if not self.sparking_out or not self._sparked_out():
            return None
        if free or at_end:
            return self._at_the_end(free)
        self._dwelt, self._out = True, None
        return None

    def _at_the_end(self, free: bool) -> Ending:
        """The way was found free; or the room is used up, and it counts whether the cone is known to have passed."""
        through, room_enough = self._hole.through, self._least_um <= self._most_um
        if not free and room_enough and self.whole:
            return Ending("failed", f"{Cause.NO_BREAKTHROUGH.value}: is the work thicker than the job says?")
        if free or through.share <= max(SPENT_SHARE, self._rig.flank_share):
            return Ending("through")
        return self._short_of_room(through.share)

    def _short_of_room(self, share: float) -> Ending:
        """Still sparking where the room ends, though the tip is out: by the cone, or beside a rod that has none."""
        rig = self._rig
        flat_um = (rig.given.job.work.thickness_mm + rig.electrode.wear_mm) * UM_PER_MM + FREE_RUN_UM
        out = not self.whole and flat_um <= self._most_um
        if out and rig.electrode.cones_seen:
            return NEEDLE
        if out and share <= FLANK_MOST:
            # A rod that came flat has passed: such a share is no cone's, here and in holes to come.
            rig.flank_share = FLANK_TIMES * share
            return Ending("through")
        return Ending("undersize", NO_ROOM)

    def _sparked_out(self) -> bool:
        """True once the rod, staying where it is, widens the hole no more, or after what is long for this hole."""
        rig = self._rig
        if self._out is None:
            self._out = SparkOut(self._widening_um())
        if not rig.sense.long_low:
            self._out.saw(rig.sense.sparks, rig.tick_s)
        return self._out.over or self._out.time_s > SPARK_OUT_TIMES * (self._hole.erode_s - self._out.time_s)

    def _widening_um(self) -> float:
        """What a spark beside the rod widens the diameter by, where the hole is narrowest, next to the far face.

        A spark takes a micrometre of the whole front over the sparks that a micrometre costs; shared over the whole
        wall it widens the diameter by d / (2 · thickness · those sparks). Next to the far face four times that: chosen.
        """
        job, usual = self._rig.given.job, self._hole.through.usual
        return 2.0 * job.holes.diameter_mm / (job.work.thickness_mm * max(usual or 0.0, 0.1))
