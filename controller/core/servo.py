"""The servo: a feed from the filtered gap state, one number a tick.

The gap is kept by what the source shows. With the source on, the share of time at high level falls from 1 (gap too
wide, nothing sparks) towards 0 (every pause followed by a spark at once, contact next). The feed is proportional to how
far that share stands above a reference, and zero below it: erosion itself opens the gap again, so backing off, which
costs a traverse of the backlash both ways, is left to real shorts.

The reference is not a constant: the best one differs between sources, waters and rods. It is found while drilling by
trying a little more and a little less in turn and going where more sparks a second were counted, shorts' lost time
included.
"""

from __future__ import annotations

from controller.core.gap import GapFilter
from controller.core.permissions import SERVO_SPEED_UM_S


class Reference:
    """The set point: the share of time at high level to keep, found by balanced trials of more and less."""

    # Start in the middle: half the time waiting for a spark. Common practice, no source; it is only where the search starts.
    START = 0.55
    LEAST, MOST = 0.15, 0.9  # chosen so that neither end can stop the feed for good
    TRIAL = 0.06  # chosen so that a trial differs visibly from its pair but costs little
    # One trial long enough for some hundred sparks (10 % counting noise), so that one pair's verdict means something.
    TRIAL_S = 2.0
    GAIN = 0.05  # chosen so that a 10 % better rate moves the reference by about half a trial's width

    __slots__ = ("_centre", "_counts", "_elapsed_s", "_order", "_trial")

    def __init__(self) -> None:
        self._centre = self.START
        self._counts = [0.0, 0.0]
        self._order = (1, 0)
        self._trial = 0
        self._elapsed_s = 0.0

    @property
    def centre(self) -> float:
        """The best reference so far."""
        return self._centre

    @property
    def now(self) -> float:
        """The reference on trial."""
        return self._centre + (self.TRIAL if self._order[self._trial] else -self.TRIAL)

    def count(self, sparks: float, dt_s: float) -> None:
        """Count a tick's sparks for the trial; step on after each pair of trials."""
        self._counts[self._order[self._trial]] += sparks
        self._elapsed_s += dt_s
        if self._elapsed_s < self.TRIAL_S:
            return
        self._elapsed_s = 0.0
        self._trial += 1
        if self._trial == 2:
            self._judge()

    def _judge(self) -> None:
        less, more = self._counts
        if less + more > 0.0:
            step = self.GAIN * 6.0 * (more - less) / (more + less)
            self._centre = min(max(self._centre + min(max(step, -self.TRIAL), self.TRIAL), self.LEAST), self.MOST)
        self._counts = [0.0, 0.0]
        self._trial = 0
        # The order turns with every pair, so that a slow drift of the rate favours neither.
        self._order = (self._order[1], self._order[0])


class Servo:
    """Feed for one tick, in micrometres along the path, from the gap filter."""

    # Loop gain: the high share moves over its whole range within one gap (about 50 µm), smoothed over a quarter of a
    # second; 300 µm/s per unit gives a crossover of 300 / 50 = 6 rad/s, a phase margin of about 35°. Chosen so.
    GAIN_UM_S = 300.0

    __slots__ = ("_tick_s", "reference")

    def __init__(self, tick_s: float) -> None:
        self._tick_s = tick_s
        self.reference = Reference()

    def feed_um(self, gap: GapFilter, long_low: bool) -> float:
        """Forward feed for this tick; 0 while a low lasts that may be a short."""
        if long_low:
            return 0.0
        above = gap.high_share - self.reference.now
        if above <= 0.0:
            return 0.0
        return min(self.GAIN_UM_S * above / (1.0 - self.reference.now) * (1.0 + 3.0 * above), SERVO_SPEED_UM_S) * self._tick_s
