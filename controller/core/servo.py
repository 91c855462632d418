"""The servo: a feed from the filtered gap state, one number a tick.

The gap is kept by what the source shows. With the source on, the share of time at high level falls from 1 (gap too
wide, nothing sparks) towards 0 (every pause followed by a spark at once, contact next). The feed is the speed at which
the front recedes, more when that share stands above a reference and less below it, but never back: erosion itself opens
the gap again, so backing off, which costs a traverse of the backlash both ways, is left to real shorts.

The reference is not a constant: the best one differs between sources, waters and rods. It is found while drilling by
trying a little more and a little less in turn and going where more depth a second was gained, shorts' lost time
included.
"""

from __future__ import annotations

from math import log
from typing import Final

from controller.core.gap import GapFilter
from controller.core.permissions import SERVO_SPEED_UM_S

# The gain doubles for every gap (50 µm, middle of the usual range) that was fed through without a spark. Chosen so.
QUIET_GAIN_UM: Final = 50.0


class Reference:
    """The set point: the share of time at high level to keep, found by balanced trials of more and less.

    What is judged is depth gained a second, the time lost to shorts within the trial included.
    """

    # Start on the safe side of what a source at its fastest shows (pauses of 2–5 ms for discharges of about 1 ms leave
    # some 0.3 at high level, electrics.md); it is only where the search starts.
    START: Final = 0.3
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

    # Trials are too short to tell what a short costs, for shorts are rare and a weld costs ten times a touch. So each
    # one keeps the tip further off by this, which fades in this time of erosion: chosen so that one short in a quarter
    # of a minute, which costs a tenth of the time, holds it off by two trials.
    SHORT_STEP: Final = 0.03
    SHORT_MEMORY_S: Final = 45.0
    MOST_CAUTION: Final = 0.3  # chosen: half of what the share can move; further off there would be no erosion

    __slots__ = ("_began", "_caution", "_centre", "_followed_s", "_gained", "_order", "_pairs", "_trial")

    def __init__(self) -> None:
        self._centre = self.START
        self._gained = [0.0, 0.0]
        self._order = (1, 0)
        self._trial = 0
        self._pairs = 0
        self._began: tuple[float, float] | None = None
        self._followed_s: float | None = None
        self._caution = 0.0

    @property
    def centre(self) -> float:
        """The best reference so far."""
        return self._centre

    @property
    def now(self) -> float:
        """The reference on trial, with what shorts add to it."""
        trial = self.TRIAL if self._order[self._trial] else -self.TRIAL
        return min(self._centre + self._caution, self.MOST) + trial

    def interrupt(self) -> None:
        """What comes now can't be compared with what was (another hole, the face, the breakthrough): drop the trial."""
        self._began = self._followed_s = None

    def shorted(self) -> None:
        """A short had to be answered: keep further off for a while."""
        self._caution = min(self._caution + self.SHORT_STEP, self.MOST_CAUTION)

    def follow(self, now_s: float, depth_um: float) -> None:
        """Tell the depth reached, as long as the whole front is being eroded."""
        if self._followed_s is not None:
            # What was lost to a short in between is no time of erosion.
            self._caution *= 1.0 - min(now_s - self._followed_s, 0.1) / self.SHORT_MEMORY_S
        self._followed_s = now_s
        if self._began is None:
            self._began = now_s, depth_um
            return
        began_s, began_um = self._began
        if now_s - began_s < self.TRIAL_S:
            return
        self._gained[self._order[self._trial]] = max(depth_um - began_um, 0.0) / (now_s - began_s)
        self._began = now_s, depth_um
        self._trial += 1
        if self._trial == 2:
            self._judge()

    def _judge(self) -> None:
        less, more = (gained + 1.0 for gained in self._gained)  # 1 µm/s: keeps a trial without gain finite
        gain = max(self.FIRST_GAIN / (1.0 + self._pairs / self.PAIRS), self.LAST_GAIN)
        step = min(max(gain * log(more / less), -self.TRIAL), self.TRIAL)
        self._centre = min(max(self._centre + step, self.LEAST), self.MOST)
        self._pairs += 1
        self._trial = 0
        # The order turns with every pair, so that a slow drift of the rate favours neither.
        self._order = (self._order[1], self._order[0])


class Servo:
    """Feed for one tick, in micrometres along the path, from the gap filter.

    The feed is the speed of the front and a correction in proportion to how far the high share is off its reference.
    The front's speed is learned from the depth gained, and kept from hole to hole: without it the gap would stand open
    by as much as the front is fast. Depth gained, not feed given: what is fed to come back after a retreat is no
    progress.

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
    # Memory of the front's speed: some two gaps of a usual front, so that closing or opening the gap counts for little.
    FRONT_MEMORY_S: Final = 4.0
    FRONT_LOOK_S: Final = 0.5  # looked at so often: chosen so that some useful moves of a usual front fall into it
    # Learned speeds are kept within these: chosen, beyond what sources between 1 and 100 A make.
    SLOWEST_UM_S: Final = 0.5
    FASTEST_UM_S: Final = 400.0
    # While it sparks the front is within a gap of the tip, and feed faster than the front's own speed soon runs into
    # it. Beyond that the feed may grow only with the distance that was met by no spark at all: twice a second through
    # it, so that the reaction time (about 0.1 s) costs a fifth of what is known to be free.
    TIMES_FRONT: Final = 1.5
    # Share below the reference over which the feed falls to nothing, at the least. Chosen: a trial either way.
    LEAST_ROOM: Final = 0.1
    QUIET_PER_S: Final = 2.0
    # A gap that has not sparked for this long is not the front's. Chosen: thirty sparks of a usual front.
    QUIET_S: Final = 0.3

    __slots__ = (
        "_front_um_s",
        "_gained_um",
        "_gaining_s",
        "_quiet_s",
        "_quiet_um",
        "_tick_s",
        "_usual_um_s",
        "reference",
    )

    def __init__(self, tick_s: float, front_um_s: float) -> None:
        self._tick_s = tick_s
        self._quiet_um = self._quiet_s = self._gained_um = self._gaining_s = 0.0
        # Begun at half of what is foretold: too slow costs seconds in the first hole, too fast runs into the front.
        self._front_um_s = self._usual_um_s = min(max(0.5 * front_um_s, self.SLOWEST_UM_S), self.FASTEST_UM_S)
        self.reference = Reference()

    @property
    def front_um_s(self) -> float:
        """Speed of the whole front as it is believed."""
        return self._usual_um_s

    def start(self) -> None:
        """The approach handed over: the front is near."""
        self._quiet_um = self._quiet_s = 0.0

    def begin(self) -> None:
        """A new hole: its front will be as fast as fronts usually are."""
        self._front_um_s = self._usual_um_s

    def gained(self, depth_um: float, whole_front: bool, high_share: float) -> None:
        """Depth newly gained in this tick of erosion, 0 for most; `whole_front` when the full front erodes.

        Not to be told of ticks in which the tip is on its way back to the front. While the gap stands wider than it
        should, what is gained is what is fed, and tells only that the front is no slower.
        """
        self._gained_um += depth_um
        self._gaining_s += self._tick_s
        if self._gaining_s < self.FRONT_LOOK_S:
            return
        found_um_s = self._gained_um / self._gaining_s
        if found_um_s > self._front_um_s or high_share <= self.reference.now:
            front_um_s = self._front_um_s + (found_um_s - self._front_um_s) * self._gaining_s / self.FRONT_MEMORY_S
            self._front_um_s = min(max(front_um_s, self.SLOWEST_UM_S), self.FASTEST_UM_S)
        self._gained_um = self._gaining_s = 0.0
        if whole_front:
            self._usual_um_s = self._front_um_s

    def feed_um(self, gap: GapFilter, sparks: int, long_low: bool, behind_um: float = 0.0) -> float:
        """Forward feed for this tick; 0 while a low lasts that may be a short.

        `behind_um` is how far the tip still is from where it was deepest: that way was free, and is known to be.
        """
        if sparks:
            self._quiet_um = self._quiet_s = 0.0
        if long_low:
            return 0.0
        self._quiet_s += self._tick_s
        front_um_s, reference = self._front_um_s, self.reference.now
        above = gap.high_share - reference
        gain_um_s = min(self.GAIN_PER_FRONT * front_um_s, self.MOST_GAIN_UM_S)
        if above < 0.0:
            # However fast the front is taken for, a gap that is never open is not fed into.
            gain_um_s = max(gain_um_s, front_um_s / max(reference, self.LEAST_ROOM))
        speed_um_s = front_um_s + gain_um_s * above
        if speed_um_s <= 0.0:
            return 0.0
        known_um = self._quiet_um + behind_um
        ceiling = min(self.TIMES_FRONT * front_um_s + self.QUIET_PER_S * known_um, SERVO_SPEED_UM_S)
        if self._quiet_s > self.QUIET_S:
            speed_um_s = ceiling
        feed_um = min(speed_um_s * (1.0 + known_um / QUIET_GAIN_UM), ceiling) * self._tick_s
        self._quiet_um += feed_um
        return feed_um
