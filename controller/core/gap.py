"""The gap state, from a signal that does not say what it means.

The problem. One pin tells high from low a thousand times a second. A low is a spark just cut off (1–10 ms), a short
circuit (until something ends it), or a drop-out of the source (10–400 ms): the three overlap in duration, so no single
threshold separates them. What does separate them is statistics (how often does *this* source drop out, and for how
long), time, and the answer to a small retreat: a short ends when the gap opens, a drop-out does not care.

The filter. Four hidden states: open, sparking, shorted, source off. While lows are short, the source is plainly on and
the filter only weighs open against sparking by the time since the last spark. Once a low lasts longer than a spark
pause can, the choice is shorted against off, and each is weighed by (how often it begins) × (how probable it is that
it still lasts), with the survival of a short falling for every micrometre that the tip was lifted meanwhile. Rates
and durations start from the machine's fingerprint (`check`) and go on being estimated while eroding, since some
sources drop out more under load.

What it does not know. With the `clamp` front end nothing tells burning from open, and nothing tells a short from a
drop-out in the first milliseconds. `divider` separates burning from open, `biased` separates a metal contact (below
0.1 V) from every other low, and within milliseconds: no spark's pause reads as metal, so none is waited for.
"""

from __future__ import annotations

from enum import StrEnum
from math import exp
from typing import Final

from controller.core.laws import DropOutLaw, PauseLaw, ShortLaw
from controller.core.window import Window
from controller.settings.machine import DropOuts, Sampler


class GapState(StrEnum):
    """The hidden states of the gap while the source is connected."""

    OPEN = "open"
    SPARKING = "sparking"
    SHORTED = "shorted"
    OFF = "source off"


# A short that a lift ends, it ends at once: three ticks for the lift's last steps to be done, seen and sampled. A low
# that ends later ended by itself. Chosen so.
ANSWER_S: Final = 0.03

# A long low is answered once so few of the source's drop-outs last so long. Chosen: what an early answer costs (a
# needless retreat) and a late one (a weld) weigh about the same there.
USUAL_SHARE: Final = 0.4
# An answered low does not tell what it was: a drop-out that happens to end with the lift looks like a short that the
# lift ended, and what is believed of either feeds on itself. So some lows are left alone until nearly every drop-out
# would be over, to learn from how they end: one in three at first, then one in ten. Chosen so.
PATIENT_SHARE: Final = 0.1
PATIENT_FIRST: Final = 12
PATIENT_EARLY: Final = 3
PATIENT_LATE: Final = 10
# Odds of four to one for a short are answered sooner. Chosen.
SURELY: Final = 0.8
# Below that, three in ten is enough: a weld costs some ten times what a needless retreat does, and is a few times
# rarer. Chosen.
PERHAPS: Final = 0.3

# Below that, the tip gives way a little as soon as a low is longer than any pause, when one in twenty of such lows is a
# short: a touch that is let go at once seldom welds, and giving way in a drop-out costs a twentieth of a weld. Chosen.
SUSPECT: Final = 0.05

# Time constant of the smoothed spark rate and high share; the servo's gain is matched to it (servo.py).
SMOOTHING_S: Final = 0.12


class GapFilter:
    """Probabilities of the four hidden states, one update a tick.

    Attributes:
        p_open, p_sparking, p_shorted, p_off: probabilities, summing to 1.
        spark_rate_hz: sparks a second, smoothed over SMOOTHING_S.
        answerable: the present long low is to be answered as a short.
        suspect: it may be one, and is no low that something is to be learned from by leaving it alone.
        last_was_off: the last long low, now that it is over, is taken for a drop-out.
        high_share: share of samples at high level while the source is taken to be on, smoothed alike.
    """

    __slots__ = (
        "_alone_off",
        "_alone_short",
        "_biased",
        "_lift_um",
        "_lifted_s",
        "_long",
        "_long_lows",
        "_metal_share",
        "_off",
        "_patient",
        "_pauses",
        "_seen_s",
        "_short",
        "_smoothing",
        "_still_s",
        "_still_um",
        "answerable",
        "high_share",
        "last_was_off",
        "p_off",
        "p_open",
        "p_shorted",
        "p_sparking",
        "spark_rate_hz",
        "suspect",
    )

    def __init__(self, sampler: Sampler, fingerprint: DropOuts, tick_s: float) -> None:
        self._biased = sampler.front_end == "biased"
        self._off = DropOutLaw(fingerprint)
        self._pauses = PauseLaw()
        self._short = ShortLaw()
        # Chosen so that the servo sees a closing gap before the tip is through it: an eighth of a second averages some
        # ten sparks, and at the servo's usual feed the tip goes a tenth of a gap meanwhile.
        self._smoothing = 1.0 - exp(-tick_s / SMOOTHING_S)
        self._metal_share = 0.0
        self._forget_low()
        self._long_lows = 0
        # Begun as three lows whose shares are those of the two laws before anything is known.
        off, short = self._off.rate_hz, self._short.rate_hz
        self._alone_off, self._alone_short = 3.0 * off / (off + short), 3.0 * short / (off + short)
        self._long = self._patient = False
        self.last_was_off = self.answerable = self.suspect = False
        self.spark_rate_hz = 0.0
        self.high_share = 1.0
        self.p_open, self.p_sparking, self.p_shorted, self.p_off = 1.0, 0.0, 0.0, 0.0

    @property
    def state(self) -> GapState:
        """The most probable state."""
        state, best = GapState.SPARKING, self.p_sparking
        if self.p_open > best:
            state, best = GapState.OPEN, self.p_open
        if self.p_shorted > best:
            state, best = GapState.SHORTED, self.p_shorted
        return GapState.OFF if self.p_off > best else state

    @property
    def drop_outs(self) -> DropOutLaw:
        """The belief about the source's own drop-outs."""
        return self._off

    @property
    def shorts(self) -> ShortLaw:
        """The belief about short circuits."""
        return self._short

    def restart(self) -> None:
        """Forget the recent past (the source was just connected); keep what was learned of source and shorts."""
        self.spark_rate_hz, self.high_share, self._metal_share = 0.0, 1.0, 0.0
        self.p_open, self.p_sparking, self.p_shorted, self.p_off = 1.0, 0.0, 0.0, 0.0

    def update(self, window: Window, lift_um: float, dt_s: float) -> None:
        """Take in one tick: its window, and how far the tip was lifted since the low run began (0 when it was not)."""
        if window.ended_ms:
            self._learn(window.ended_ms * 0.001, lift_um, dt_s)
            self._pauses.learn(window.ended_ms, 1)
        window.longest_pause_ms = self._pauses.longest_ms
        if window.long_low:
            if not self._long or window.ended_ms:
                self._begin_long_low()
            self._weigh_long_low(window, lift_um)
            return
        self._long = self.answerable = self.suspect = False
        self._off.live_s += dt_s
        self._short.live_s += dt_s
        a = self._smoothing
        self.spark_rate_hz += a * (window.sparks / dt_s - self.spark_rate_hz)
        if window.samples:
            self.high_share += a * (1.0 - window.lows / window.samples - self.high_share)
        if window.sparks:
            self._pauses.learn(window.pause_ms, window.sparks)
        if window.low_ms > self._pauses.usual_ms:
            self._weigh_pause(window)
        else:
            self._weigh_live(window)

    def _begin_long_low(self) -> None:
        self._long = True
        self._long_lows += 1
        often = PATIENT_EARLY if self._long_lows < PATIENT_FIRST * PATIENT_EARLY else PATIENT_LATE
        # Metal tells shorts from drop-outs, so nothing is learned from leaving it alone.
        self._patient = not self._biased and self._long_lows % often == 0

    def _weigh_pause(self, window: Window) -> None:
        """A low that may yet be a spark's pause, but has become a long one for that."""
        pause = max(self.spark_rate_hz, 1.0) * self._pauses.survival(window.low_ms)
        off, short = self._off.rate_hz, self._short.rate_hz
        total = pause + off + short
        self.p_sparking, self.p_off, self.p_shorted, self.p_open = pause / total, off / total, short / total, 0.0

    def _weigh_live(self, window: Window) -> None:
        if window.samples:
            self.p_sparking = window.near / window.samples
            self.p_open = 1.0 - self.p_sparking
        elif self.p_open + self.p_sparking == 0.0:
            self.p_open, self.p_sparking = 1.0, 0.0
        self.p_shorted = self.p_off = 0.0
        self._metal_share = 0.0
        self._forget_low()

    def _forget_low(self) -> None:
        # Of the present low: its age when last seen; how far the tip was lifted and when it last rose; age and lift
        # when that lift began.
        self._seen_s = self._still_s = self._lift_um = self._still_um = 0.0
        self._lifted_s = -ANSWER_S

    def _weigh_long_low(self, window: Window, lift_um: float) -> None:
        low_s = window.low_ms * 0.001
        if lift_um > self._lift_um:
            self._lift_begins(low_s)
            self._lift_um, self._lifted_s = lift_um, low_s
        self._seen_s = low_s
        lasting = self._off.survival(low_s)
        off = self._off.rate_hz * lasting
        short = self._short.rate_hz * self._short.survival(low_s, lift_um)
        if self._biased and window.samples:
            self._metal_share += 0.5 * (window.metal / window.samples - self._metal_share)
            if window.touching:
                self._metal_share = 1.0
            off, short = self._told_by_metal(off, short)
        total = off + short
        self.p_shorted, self.p_off = short / total, off / total
        self.p_open = self.p_sparking = 0.0
        self.suspect = self.p_shorted > SUSPECT and not self._patient
        if self._patient:
            self.answerable = self.p_shorted > PERHAPS and lasting < PATIENT_SHARE
        else:
            self.answerable = self.p_shorted > SURELY or (self.p_shorted > PERHAPS and lasting < USUAL_SHARE)

    def _lift_begins(self, low_s: float) -> None:
        """The tip rises: unless it has only just done so, what was up to the last look is what this lift answers."""
        if low_s - self._lifted_s > ANSWER_S:
            self._still_s, self._still_um = self._seen_s, self._lift_um

    def _learn(self, low_s: float, lift_um: float, dt_s: float) -> None:
        """A long low is over: share it between the two laws by how probable each makes it to have ended just then.

        With a lift, or at once after it: since that lift began, which ends shorts and no drop-outs; lifts before it
        were no answer. Untouched, or long after the last lift: within the last tick.
        """
        if lift_um > self._lift_um:
            self._lift_begins(low_s)
            self._lifted_s = low_s
        answered = lift_um > 0.0 and low_s - self._lifted_s <= ANSWER_S
        since_s = min(self._still_s, low_s) if answered else low_s - dt_s
        since_s = max(since_s, 0.001)  # a sample: no law is asked about nothing
        before_um = self._still_um if answered else lift_um
        off = self._off.rate_hz * (self._off.survival(since_s) - self._off.survival(low_s))
        short = self._short.rate_hz * (self._short.survival(since_s, before_um) - self._short.survival(low_s, lift_um))
        if self._biased:
            off, short = self._told_by_metal(off, short)
        p_off = off / (off + short) if off + short > 0.0 else 0.5
        self.last_was_off = p_off > 0.5
        self._count(p_off)
        self._off.learn(low_s, p_off)
        self._short.learn(since_s if answered else low_s, 1.0 - p_off, answered_um=lift_um if answered else 0.0)

    def _count(self, p_off: float) -> None:
        """How often lows of either kind begin: what lows left alone told of their shares is taken for all of them.

        With the `biased` front end metal tells the two apart, and every low counts for what it was.
        """
        if self._patient:
            self._alone_off += p_off
            self._alone_short += 1.0 - p_off
        off_share = p_off if self._biased else self._alone_off / (self._alone_off + self._alone_short)
        self._off.began(off_share)
        self._short.began(1.0 - off_share)

    def _told_by_metal(self, off: float, short: float) -> tuple[float, float]:
        # Metal reads below 0.1 V and nothing else does; 1 % is room for noise at the threshold.
        return off * (1.0 - 0.99 * self._metal_share), short * (0.01 + self._metal_share)
