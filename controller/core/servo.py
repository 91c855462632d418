"""The servo: a feed from the filtered gap state, one number a tick.

The gap is kept by what the source shows. With the source on, the share of time at high level falls from 1 (gap too
wide, nothing sparks) towards 0 (every pause followed by a spark at once, contact next). The feed is proportional to how
far that share stands above a reference, and zero below it: erosion itself opens the gap again, so backing off, which
costs a traverse of the backlash both ways, is left to real shorts.

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
    LEAST: Final = -0.2
    MOST: Final = 0.85
    TRIAL: Final = 0.05  # chosen so that a trial differs visibly from its pair but costs little
    # One trial long enough to sink by two gaps or so, so that where in the gap it began and ended counts for little.
    TRIAL_S: Final = 4.0
    # Step for each pair, as a share of the logarithm of the two gains: large at first, then small (stochastic
    # approximation, Kiefer & Wolfowitz 1952, from memory), so that the noise of one pair averages out.
    FIRST_GAIN: Final = 0.15
    LAST_GAIN: Final = 0.02
    PAIRS: Final = 10.0

    __slots__ = ("_began", "_centre", "_gained", "_order", "_pairs", "_trial")

    def __init__(self) -> None:
        self._centre = self.START
        self._gained = [0.0, 0.0]
        self._order = (1, 0)
        self._trial = 0
        self._pairs = 0
        self._began: tuple[float, float] | None = None

    @property
    def centre(self) -> float:
        """The best reference so far."""
        return self._centre

    @property
    def now(self) -> float:
        """The reference on trial."""
        return self._centre + (self.TRIAL if self._order[self._trial] else -self.TRIAL)

    def interrupt(self) -> None:
        """What comes now can't be compared with what was (another hole, the face, the breakthrough): drop the trial."""
        self._began = None

    def follow(self, now_s: float, depth_um: float) -> None:
        """Tell the depth reached, as long as the whole front is being eroded."""
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
    """Feed for one tick, in micrometres along the path, from the gap filter."""

    # Loop gain: the high share moves over its whole range within one gap (about 50 µm) and is smoothed over 0.12 s;
    # 150 µm/s per unit gives a crossover of 150 / 50 = 3 rad/s, a phase margin of 70°. Chosen so.
    GAIN_UM_S: Final = 150.0
    # While it sparks the front is within a gap of the tip, and no front is eroded faster than some 60 µm/s by a 10 A
    # source. Beyond that the feed may grow only with the distance that was met by no spark at all: twice a second
    # through it, so that the reaction time (about 0.1 s) costs a fifth of what is known to be free. Chosen so.
    SPARKING_UM_S: Final = 60.0
    QUIET_PER_S: Final = 2.0

    __slots__ = ("_quiet_um", "_tick_s", "reference")

    def __init__(self, tick_s: float) -> None:
        self._tick_s = tick_s
        self._quiet_um = 0.0
        self.reference = Reference()

    def start(self) -> None:
        """The approach handed over: the front is near."""
        self._quiet_um = 0.0

    def feed_um(self, gap: GapFilter, sparks: int, long_low: bool) -> float:
        """Forward feed for this tick; 0 while a low lasts that may be a short."""
        if sparks:
            self._quiet_um = 0.0
        if long_low:
            return 0.0
        above = gap.high_share - self.reference.now
        if above <= 0.0:
            return 0.0
        ceiling = min(self.SPARKING_UM_S + self.QUIET_PER_S * self._quiet_um, SERVO_SPEED_UM_S)
        feed = min(self.GAIN_UM_S * above * (1.0 + self._quiet_um / QUIET_GAIN_UM), ceiling) * self._tick_s
        self._quiet_um += feed
        return feed
