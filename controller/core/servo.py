"""The servo: a feed from the filtered gap state, one number a tick.

The gap is kept by what the source shows. With the source on, the share of time at high level falls from 1 (gap too
wide, nothing sparks) towards 0 (every pause followed by a spark at once, contact next). The feed is what the sparks
take off the front, more when that share stands above a reference and less below it, but never back: erosion itself
opens the gap again, so backing off, which costs a traverse of the backlash both ways, is left to real shorts.

The reference is not a constant: the best one differs between sources, waters and rods. It is found while drilling by
trying a little more and a little less in turn and going where more depth a second was gained, and outward by the time
that shorts cost.
"""

from __future__ import annotations

from math import log
from typing import Final

from controller.core.gap import GapFilter
from controller.core.permissions import SERVO_SPEED_UM_S
from controller.core.worth import Worth

# The gain doubles for every gap (50 µm, middle of the usual range) that was fed through without a spark. Chosen so.
QUIET_GAIN_UM: Final = 50.0
# Told of the front no more often than this, it was left in between: chosen, a few ticks.
LEFT_S: Final = 0.11


class Reference:
    """The set point: the share of time at high level to keep, found by balanced trials of more and less.

    What a trial is judged by is depth gained a second of erosion. Shorts are too rare for trials of a few seconds to
    tell what they cost, and cost too much to be tried: instead, each second lost to them moves the reference outward.
    """

    # Start on the safe side of what a source at its fastest shows (pauses of 2–5 ms for discharges of about 1 ms leave
    # some 0.3 at high level, electrics.md); it is only where the search starts.
    START: Final = 0.4
    # Chosen so that neither end can stop the feed for good; below 0 it feeds while crowded.
    LEAST: Final = 0.0
    MOST: Final = 0.85
    TRIAL: Final = 0.05  # chosen so that a trial differs visibly from its pair but costs little
    # One trial long enough to sink by two gaps or so, so that where in the gap it began and ended counts for little.
    TRIAL_S: Final = 4.0
    # Step for each pair, as a share of the logarithm of the two gains: large at first, then small (stochastic
    # approximation, Kiefer & Wolfowitz 1952, from memory), so that the noise of one pair averages out.
    FIRST_GAIN: Final = 0.15
    LAST_GAIN: Final = 0.02
    PAIRS: Final = 10.0
    # One short moves the reference by no more than this many seconds' worth: a weld to be torn, or a way out of
    # the hole and back, says how long that takes and nothing of the gap, and debris bridges a wide one too. Chosen.
    MOST_LOST_S: Final = 1.0

    __slots__ = ("_began_um", "_centre", "_followed_s", "_gained", "_order", "_pairs", "_trial", "_tried_s")

    def __init__(self) -> None:
        self._centre = self.START
        self._gained = [0.0, 0.0]
        self._order = (1, 0)
        self._trial = 0
        self._pairs = 0
        self._began_um: float | None = None
        self._followed_s = self._tried_s = 0.0

    @property
    def centre(self) -> float:
        """The best reference so far."""
        return self._centre

    @property
    def now(self) -> float:
        """The reference on trial."""
        return self._centre + (self.TRIAL if self._order[self._trial] else -self.TRIAL)

    @property
    def _gain(self) -> float:
        return max(self.FIRST_GAIN / (1.0 + self._pairs / self.PAIRS), self.LAST_GAIN)

    def interrupt(self) -> None:
        """What comes now can't be compared with what was (another hole, the face, the breakthrough): drop the trial."""
        self._began_um = None

    def lost(self, seconds: float) -> None:
        """A short took so long.

        The same ascent as a pair of trials: time lost is taken to grow e times a trial's width nearer, so that the
        logarithm of the rate gains (lost / TRIAL) for each unit of the reference; a pair moves it by
        gain · 2 · TRIAL · slope in 2 · TRIAL_S.
        """
        self._settle(self._gain * min(seconds, self.MOST_LOST_S) / self.TRIAL_S)

    def follow(self, now_s: float, depth_um: float) -> None:
        """Tell the depth reached, as long as the whole front is being eroded."""
        step_s, self._followed_s = now_s - self._followed_s, now_s
        if self._began_um is None:
            self._began_um, self._tried_s = depth_um, 0.0
            return
        if step_s < LEFT_S:
            self._tried_s += step_s  # what was spent away from the front is no time of erosion
        if self._tried_s < self.TRIAL_S:
            return
        self._gained[self._order[self._trial]] = max(depth_um - self._began_um, 0.0) / self._tried_s
        self._began_um, self._tried_s = depth_um, 0.0
        self._trial += 1
        if self._trial == 2:
            self._judge()

    def _judge(self) -> None:
        less, more = (gained + 1.0 for gained in self._gained)  # 1 µm/s: keeps a trial without gain finite
        self._settle(min(max(self._gain * log(more / less), -self.TRIAL), self.TRIAL))
        self._pairs += 1
        self._trial = 0
        # The order turns with every pair, so that a slow drift of the rate favours neither.
        self._order = (self._order[1], self._order[0])

    def _settle(self, by: float) -> None:
        self._centre = min(max(self._centre + by, self.LEAST), self.MOST)


class Servo:
    """Feed for one tick, in micrometres along the path, from the gap filter.

    Each spark takes a little off the front and opens the gap by that much. The feed gives it back: sparks a second by
    depth a spark (worth.py), and a correction in proportion to how far the high share is off its reference.

    Args:
        tick_s: Length of a tick.
        front_um_s: Speed of the front as it is foretold.
    """

    # Proportional gain for each µm/s of front speed: at the 40 µm/s that the usual 10 A source makes, the high share
    # moves over its whole range within one gap (50 µm) and is smoothed over 0.12 s; 120 µm/s per unit gives a crossover
    # of 120 / 50 = 2.4 rad/s, a phase margin of 70°. For fast fronts the lag allows no more than the second figure; for
    # slow ones more would be too much: feed is never negative, so that noise of the share feeds forward on average.
    GAIN_PER_FRONT: Final = 3.0
    MOST_GAIN_UM_S: Final = 150.0
    # Before any was seen: a pause of the source is 1–10 ms (electrics.md), so that a front gets some 80 sparks a second
    # at most. Chosen.
    USUAL_HZ: Final = 80.0
    # Learned speeds are kept within these: chosen, beyond what sources between 1 and 100 A make.
    SLOWEST_UM_S: Final = 0.5
    FASTEST_UM_S: Final = 400.0
    # Memory of the sparks a second that the gain and the limit follow: now, and as they usually are. Chosen: ten of the
    # gap filter's, and a good part of a hole.
    FRONT_MEMORY_S: Final = 1.0
    USUAL_MEMORY_S: Final = 10.0
    # While it sparks the front is within a gap of the tip, and feed faster than the front's own speed soon runs into
    # it. Beyond that the feed may grow only with the distance that was met by no spark at all: twice a second through
    # it, so that the reaction time (about 0.1 s) costs a fifth of what is known to be free.
    TIMES_FRONT: Final = 1.5
    # Share below the reference over which the feed falls to nothing, at the least. Chosen: a trial either way.
    LEAST_ROOM: Final = 0.1
    QUIET_PER_S: Final = 2.0
    # So far above the reference the gap is wide however slow the front: more play than believed was to be taken up. A
    # third of a usual gap is left then, and the most gain feeds through no more than a tenth of that within the
    # reaction time. Chosen so; three times what the share scatters by near the reference.
    FAR: Final = 0.15
    # A gap that has not sparked for this long is not the front's. Chosen: thirty sparks of a usual front.
    QUIET_S: Final = 0.3

    __slots__ = (
        "_quiet_s",
        "_quiet_um",
        "_rate_hz",
        "_tick_s",
        "_usual_hz",
        "_worth_um",
        "reference",
        "worth",
    )

    def __init__(self, tick_s: float, front_um_s: float) -> None:
        self._tick_s = tick_s
        self._quiet_um = self._quiet_s = 0.0
        # Begun at half of what is foretold: too slow costs seconds in the first hole, too fast runs into the front.
        front_um_s = min(max(0.5 * front_um_s, self.SLOWEST_UM_S), self.FASTEST_UM_S)
        self._rate_hz = self._usual_hz = self.USUAL_HZ
        self.worth = Worth(
            front_um_s / self.USUAL_HZ, self.SLOWEST_UM_S / self.USUAL_HZ, self.FASTEST_UM_S / self.USUAL_HZ
        )
        self._worth_um = self.worth.at(0.0)
        self.reference = Reference()

    @property
    def front_um_s(self) -> float:
        """Speed of the front here, when it sparks as usual."""
        return self._usual_hz * self._worth_um

    def start(self) -> None:
        """The approach handed over: the front is near."""
        self._quiet_um = self._quiet_s = 0.0

    def begin(self) -> None:
        """A new hole."""
        self.worth.begin()
        self._worth_um = self.worth.at(0.0)

    def gained(self, depth_um: float, gained_um: float, sparks: int, rate_hz: float, whole_front: bool) -> None:
        """A tick of erosion: depth, what of it is new, sparks, and the filter's sparks a second."""
        self.worth.saw(depth_um, gained_um, sparks)
        self._worth_um = self.worth.at(depth_um)
        self._rate_hz += (rate_hz - self._rate_hz) * self._tick_s / self.FRONT_MEMORY_S
        if whole_front:
            self._usual_hz += (rate_hz - self._usual_hz) * self._tick_s / self.USUAL_MEMORY_S

    def feed_um(self, gap: GapFilter, sparks: int, long_low: bool, behind_um: float = 0.0) -> float:
        """Forward feed for this tick; 0 while a low lasts that may be a short.

        `behind_um` is how far the tip still is from where it was deepest: that way was free, and is known to be.
        """
        if sparks:
            self._quiet_um = self._quiet_s = 0.0
        if long_low:
            return 0.0
        tick_s = self._tick_s
        self._quiet_s += tick_s
        worn_um_s = gap.spark_rate_hz * self._worth_um
        front_um_s = self._worth_um * max(self._rate_hz, self._usual_hz)
        reference = self.reference.now
        above = gap.high_share - reference
        gain_um_s = min(self.GAIN_PER_FRONT * front_um_s, self.MOST_GAIN_UM_S)
        if above < 0.0:
            # However much a spark is taken for, a gap that is never open is not fed into.
            gain_um_s = max(gain_um_s, worn_um_s / max(reference, self.LEAST_ROOM))
        speed_um_s = worn_um_s + gain_um_s * above
        if speed_um_s <= 0.0:
            return 0.0
        if above > 0.0:
            # Back to where it was deepest, however slow the front.
            speed_um_s = max(speed_um_s, self.QUIET_PER_S * behind_um)
        known_um = self._quiet_um + behind_um
        far_um_s = self.MOST_GAIN_UM_S * max(above - self.FAR, 0.0)
        speed_um_s += far_um_s
        ceiling = min(self.TIMES_FRONT * front_um_s + self.QUIET_PER_S * known_um + far_um_s, SERVO_SPEED_UM_S)
        if self._quiet_s > self.QUIET_S:
            speed_um_s = ceiling
        feed_um = min(speed_um_s * (1.0 + known_um / QUIET_GAIN_UM), ceiling) * tick_s
        self._quiet_um += feed_um
        return feed_um
