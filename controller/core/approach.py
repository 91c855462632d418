"""The way down to a face that only the map knows: where it begins, how fast it goes, and when there is nothing there.

Until the first sparks nobody has seen the face. So the way begins above it by what is not known of it, goes as fast as
a tip that meets metal can be stopped, and ends well below; the electrode is then measured before the work is called
missing. The source must not stand live for long without removal, so a way that touches and drop-outs have made too long
is left, and begun again where it got to.
"""

from __future__ import annotations

from math import hypot, inf
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.hole import Ending
from controller.core.measuring import UNSURE_TIMES
from controller.core.permissions import APPROACH_SPEED_UM_S
from controller.core.rig import Rig
from controller.plan.plan import PlannedHole
from controller.settings.units import UM_PER_MM

# The approach starts this far above the face at least: three times the widest gap (references §3), so that the source
# always closes on an open gap.
START_ROOM_MM: Final = 0.3
# Searched below where the face should be before the work is called missing. Chosen so.
SEARCH_MM: Final = 0.5
# Tip above the face at the first sparks, and how well that is known: the usual gaps (10–100 µm, references §3) and the
# reach beside a corner. Chosen so.
FIRST_GAP_UM: Final = 120.0
# The rod is not as long as believed when the face is off by so many standard uncertainties. Chosen: three.
LENGTH_SURE: Final = 3.0
# A face that was touched before it sparked is gone to slowly, this near to where: what sparks may be thinner than the
# way at approach speed within one reaction time (0.1 s). Chosen: a tenth of a usual gap a reaction time, half a gap.
FACE_SPEED_UM_S: Final = 30.0
FACE_NEAR_UM: Final = 50.0
# An approach that is to begin again is left so early (s), since it may be a long way up. Chosen: more than the way down
# to where the search ends takes, with a tip known as badly as may be (measuring.py).
LEAVE_AFTER_S: Final = 8.0
# Approaches cut short by touches and drop-outs before the first spark, before the hole is given up. Chosen.
APPROACHES_MAX: Final = 6

# Not the end of a hole: nothing was met, and the electrode is to be measured before the work is called missing.
SHORTER: Final = Ending("failed", "no work met")
# Nor this: touches and drop-outs took the time that the source may stand live without removal; approach again.
AGAIN: Final = Ending("failed", "no spark yet")


class Approach:
    """The approaches to one face; arc lengths (µm) count from the start height.

    Attributes:
        start_z_um: The start height (axis, machine frame).
        empty_um: Down to there nothing sparked.
    """

    __slots__ = ("_attempts", "_met_um", "_planned", "_rig", "_searched", "empty_um", "start_z_um")

    def __init__(self, rig: Rig, planned: PlannedHole) -> None:
        self._rig = rig
        self._planned = planned
        self._attempts = 0
        self._searched = False
        self.start_z_um = 0.0
        self.choose_start()

    def choose_start(self) -> None:
        """The start height: above the face by what is not known of it, and some room. What was met before is void."""
        rig, planned = self._rig, self._planned
        if rig.surface is None:
            raise trip(Cause.PROGRAM, "a hole was begun before the work was mapped")
        face_mm = rig.surface.at_mm(planned.x_mm, planned.y_mm) + rig.electrode.tip_mm
        self.start_z_um = (face_mm + START_ROOM_MM + UNSURE_TIMES * rig.unsure_mm()) * UM_PER_MM
        self.empty_um, self._met_um = 0.0, -inf

    def longer(self, by_mm: float) -> None:
        """The rod is longer now: the tip shall start as high above the face as before."""
        self.start_z_um += by_mm * UM_PER_MM

    @property
    def foretold_um(self) -> float:
        """Where the first spark should be."""
        return (START_ROOM_MM + UNSURE_TIMES * self._rig.unsure_mm()) * UM_PER_MM - FIRST_GAP_UM

    def is_above(self, tip_um: float) -> bool:
        """Above the highest place where the face can be."""
        return tip_um < START_ROOM_MM * UM_PER_MM

    def touched(self, tip_um: float) -> None:
        """A short was answered there by a lift: it may have been the face."""
        self._met_um = tip_um

    def speed_um_s(self, tip_um: float) -> float:
        """How fast to go on."""
        return FACE_SPEED_UM_S if abs(tip_um - self._met_um) < FACE_NEAR_UM else APPROACH_SPEED_UM_S

    def see_length(self, tip_um: float) -> None:
        """The face met far from where it should be: the rod is not as long as believed, to within a gap or two."""
        rig, gap_mm = self._rig, FIRST_GAP_UM / UM_PER_MM
        off_mm = (tip_um - self.foretold_um) / UM_PER_MM
        if abs(off_mm) > LENGTH_SURE * hypot(rig.unsure_mm(), gap_mm):
            rig.say(f"Hole {self._planned.index}: the electrode is {abs(off_mm):.1f} mm off what was believed")
            rig.electrode.found_shorter(off_mm, gap_mm)

    def nothing_met(self, axis_um: float, tip_um: float) -> Ending | None:
        """What is to be done of no spark so far; None to go on. Raises Trip when the work is missing."""
        rig = self._rig
        limit_mm = 2.0 * START_ROOM_MM + SEARCH_MM + 2.0 * UNSURE_TIMES * rig.unsure_mm()
        if axis_um < limit_mm * UM_PER_MM:
            # A short drop-out looks like a spark: before the first ones at the face, all time live is time without.
            return None if rig.sense.live_s < LEAVE_AFTER_S else self._left(tip_um)
        if not self._searched:
            self._searched = True
            return SHORTER
        raise trip(Cause.WORK_MISSING, f"{axis_um / UM_PER_MM:.2f} mm below the start of hole {self._planned.index}")

    def _left(self, tip_um: float) -> Ending:
        self._attempts += 1
        self.empty_um = max(self.empty_um, tip_um)
        return (
            AGAIN if self._attempts < APPROACHES_MAX else Ending("failed", f"no spark in {APPROACHES_MAX} approaches")
        )
