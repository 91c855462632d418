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
0.1 V) from every other low.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import erfc, exp, log, sqrt

from controller.settings.machine import DropOuts, Sampler


class GapState(StrEnum):
    """The hidden states of the gap while the source is connected."""

    OPEN = "open"
    SPARKING = "sparking"
    SHORTED = "shorted"
    OFF = "source off"


ADC_COUNTS = 1023  # full scale of a 10-bit converter (open Firmata analog message, wires.md)

# Longest pause after a spark in both current-limit laws: 10 ms off + 1 ms recovery (electrics.md), + 1 sample each
# side.
SPARK_PAUSE_MAX_MS = 13.0

# Within this time of a discharge the gap counts as sparking: a state is a regime, not the instant, and one that
# does not outlast the servo's answer (about 0.1 s) is none. Chosen so.
SPARKING_MS = 100.0
NEVER_MS = 1e9

# A short that a lift ends, it ends at once: three ticks for the lift's last steps to be done, seen and sampled. A low
# that ends later ended by itself. Chosen so.
ANSWER_S = 0.03

# Time constant of the smoothed spark rate and high share; the servo's gain is matched to it (servo.py).
SMOOTHING_S = 0.12

# Pin volts below which a reading counts as low, and as metal, by front end (electrics.md):
# clamp: half of the 3 V plateau. divider: 11 V at the gap, half of the 22.5 V burning voltage (references §1).
# biased: anything clearly off the 3 V plateau is "source absent"; only metal reads below 0.1 V.
LOW_V = {"clamp": 1.5, "divider": 11.0 * 4.5 / 64.0, "biased": 2.75}
METAL_V = 0.1
# biased: metal under a live source sits at about 0.1 V itself (electrics.md), so the line is drawn half above it; the
# wettest gap (177 Ω at 1500 µS/cm) still reads 0.3 V.
BIASED_METAL_V = 0.15
# divider: a reading between half of burning and 7.5 V above burning is a discharge (references §1: 22.5 ± 7.5 V).
BURNING_TOP_V = 31.0 * 4.5 / 64.0


@dataclass(slots=True)
class Window:
    """What one tick's samples showed, with the low run carried over from tick to tick.

    `sparks` counts pauses short enough to be a spark's, `pause_ms` is the last one's length; `low_ms` is the length
    of the low run still going on, 0 when the last sample was high; `ended_ms` the longest low run that ended in this
    tick beyond a spark pause; `quiet_ms` the time since the last sample that was low or burning; `near` counts the
    samples within `SPARKING_MS` of one.
    """

    samples: int = 0
    lows: int = 0
    burning: int = 0
    metal: int = 0
    sparks: int = 0
    pause_ms: float = 0.0
    low_ms: float = 0.0
    ended_ms: float = 0.0
    quiet_ms: float = NEVER_MS
    near: float = 0.0
    last_v: float = 0.0


class WindowReader:
    """Turns raw samples into windows, keeping the low run between ticks."""

    __slots__ = ("_burning", "_low", "_metal", "_to_volts", "window")

    def __init__(self, sampler: Sampler) -> None:
        to_volts = sampler.full_scale_v / ADC_COUNTS
        self._to_volts = to_volts
        self._low = LOW_V[sampler.front_end] / to_volts
        self._metal = BIASED_METAL_V / to_volts if sampler.front_end == "biased" else -1.0
        self._burning = BURNING_TOP_V / to_volts if sampler.front_end == "divider" else -1.0
        self.window = Window()

    def restart(self) -> None:
        """The source was just connected: no low goes on, and no spark was seen."""
        self.window.low_ms, self.window.quiet_ms = 0.0, NEVER_MS

    def read(self, samples: Sequence[int]) -> Window:
        """One tick's samples (counts, 1 ms apart, oldest first) → the window, the same object every time."""
        w = self.window
        w.samples = len(samples)
        w.sparks = w.lows = w.burning = w.metal = 0
        w.ended_ms = 0.0
        if not samples:
            return w
        w.last_v = samples[-1] * self._to_volts
        if min(samples) >= self._low and self._burning < 0.0:
            if w.low_ms:
                self._end_run(w)
            w.near = min(max(SPARKING_MS - w.quiet_ms, 0.0), w.samples)
            w.quiet_ms += w.samples
            return w
        w.near = 0.0
        for count in samples:
            w.quiet_ms += 1.0
            if count < self._low:
                w.lows += 1
                w.low_ms += 1.0
                w.quiet_ms = 0.0
                if count < self._metal:
                    w.metal += 1
            else:
                if w.low_ms:
                    self._end_run(w)
                if count < self._burning:
                    w.burning += 1
                    w.quiet_ms = 0.0
            if w.quiet_ms <= SPARKING_MS:
                w.near += 1.0
        return w

    @staticmethod
    def _end_run(w: Window) -> None:
        if w.low_ms <= SPARK_PAUSE_MAX_MS:
            w.sparks += 1
            w.pause_ms = w.low_ms
        else:
            # Whatever that was, it was no spark: until the next one the gap is open.
            w.ended_ms = max(w.ended_ms, w.low_ms)
            w.quiet_ms = NEVER_MS
        w.low_ms = 0.0


class GapFilter:
    """Probabilities of the four hidden states, one update a tick.

    Attributes:
        p_open, p_sparking, p_shorted, p_off: probabilities, summing to 1.
        spark_rate_hz: sparks a second, smoothed over SMOOTHING_S.
        last_was_off: the last long low, now that it is over, is taken for a drop-out.
        high_share: share of samples at high level while the source is taken to be on, smoothed alike.
    """

    __slots__ = (
        "_biased",
        "_lift_um",
        "_lifted_s",
        "_metal_share",
        "_off",
        "_pauses",
        "_short",
        "_smoothing",
        "_untouched_s",
        "high_share",
        "last_was_off",
        "p_off",
        "p_open",
        "p_shorted",
        "p_sparking",
        "spark_rate_hz",
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
        self._untouched_s = self._lift_um = self._lifted_s = 0.0
        self.last_was_off = False
        self.spark_rate_hz = 0.0
        self.high_share = 1.0
        self.p_open, self.p_sparking, self.p_shorted, self.p_off = 1.0, 0.0, 0.0, 0.0

    @property
    def state(self) -> GapState:
        """The most probable state."""
        best = max(self.p_open, self.p_sparking, self.p_shorted, self.p_off)
        if best == self.p_sparking:
            return GapState.SPARKING
        if best == self.p_open:
            return GapState.OPEN
        return GapState.SHORTED if best == self.p_shorted else GapState.OFF

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
        if window.low_ms > SPARK_PAUSE_MAX_MS:
            self._weigh_long_low(window, lift_um)
            return
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
        self._untouched_s = self._lift_um = self._lifted_s = 0.0

    def _weigh_long_low(self, window: Window, lift_um: float) -> None:
        low_s = window.low_ms * 0.001
        if lift_um <= 0.0:
            self._untouched_s = low_s
        if lift_um > self._lift_um:
            self._lift_um, self._lifted_s = lift_um, low_s
        off = self._off.rate_hz * self._off.survival(low_s)
        short = self._short.rate_hz * self._short.survival(low_s, lift_um)
        if self._biased and window.samples:
            self._metal_share += 0.5 * (window.metal / window.samples - self._metal_share)
            off, short = self._told_by_metal(off, short)
        total = off + short
        self.p_shorted, self.p_off = short / total, off / total
        self.p_open = self.p_sparking = 0.0

    def _learn(self, low_s: float, lift_um: float, dt_s: float) -> None:
        """A long low is over: share it between the two laws by how probable each makes it to have ended just then.

        With the lift, or at once after it: since the lift began, which ends shorts and no drop-outs. Untouched, or long
        after a lift that was no answer: within the last tick.
        """
        answered = lift_um > 0.0 and (lift_um > self._lift_um or low_s - self._lifted_s <= ANSWER_S)
        since_s = min(self._untouched_s, low_s) if answered else low_s - dt_s
        since_s = max(since_s, 0.001)  # a sample: no law is asked about nothing
        before_um = 0.0 if answered else lift_um
        off = self._off.rate_hz * (self._off.survival(since_s) - self._off.survival(low_s))
        short = self._short.rate_hz * (self._short.survival(since_s, before_um) - self._short.survival(low_s, lift_um))
        if self._biased:
            off, short = self._told_by_metal(off, short)
        p_off = off / (off + short) if off + short > 0.0 else 0.5
        self.last_was_off = p_off > 0.5
        self._off.learn(low_s, p_off)
        self._short.learn(since_s if answered else low_s, 1.0 - p_off, answered_um=lift_um if answered else 0.0)

    def _told_by_metal(self, off: float, short: float) -> tuple[float, float]:
        # Metal reads below 0.1 V and nothing else does; 1 % is room for noise at the threshold.
        return off * (1.0 - 0.99 * self._metal_share), short * (0.01 + self._metal_share)


class PauseLaw:
    """How long the source pauses after a spark, as counted on this machine in whole milliseconds."""

    __slots__ = ("_counts", "_total", "usual_ms")

    def __init__(self) -> None:
        # Until this source was seen, every length up to the longest is as likely as every other.
        self._counts = [1.0] * (int(SPARK_PAUSE_MAX_MS) + 1)
        self._total = float(len(self._counts))
        self.usual_ms = SPARK_PAUSE_MAX_MS

    def learn(self, pause_ms: float, times: int) -> None:
        """A pause of this length was seen."""
        self._counts[min(int(pause_ms), len(self._counts) - 1)] += times
        self._total += times
        # Nine pauses in ten are over by then; a longer low is worth a second thought. Looked up now and then.
        if int(self._total) % 64 == 0:
            ages = (float(ms) for ms in range(1, len(self._counts)))
            self.usual_ms = next((ms for ms in ages if self.survival(ms) < 0.1), SPARK_PAUSE_MAX_MS)

    def survival(self, pause_ms: float) -> float:
        """Probability that a pause lasts for so many samples at least."""
        return sum(self._counts[int(pause_ms) :]) / self._total


class DropOutLaw:
    """Drop-outs of the source: how often they begin and how long they last (log-normal), fingerprint first."""

    __slots__ = ("_begun", "_mean_log", "_prior_s", "_spread", "_weight", "live_s")

    def __init__(self, fingerprint: DropOuts) -> None:
        # The fingerprint counts like one minute of watching: `check` keeps the source live for at most that long.
        self._prior_s = 60.0
        self._begun = max(fingerprint.rate_hz, 0.005) * self._prior_s
        self._mean_log = log(fingerprint.median_s)
        # Two-sided 2 sigma between the median and the longest seen, floor at a factor of 1.5.
        self._spread = max(0.4, log(max(fingerprint.longest_s / fingerprint.median_s, 1.5)) / 2.0)
        self._weight = min(self._begun, 20.0) + 3.0
        self.live_s = 0.0

    @property
    def rate_hz(self) -> float:
        """Drop-outs begun for each second that the source was on."""
        return self._begun / (self._prior_s + self.live_s)

    @property
    def median_s(self) -> float:
        """Median duration."""
        return exp(self._mean_log)

    def survival(self, duration_s: float) -> float:
        """Probability that a drop-out that began `duration_s` ago still lasts."""
        return max(0.5 * erfc((log(duration_s) - self._mean_log) / (self._spread * sqrt(2.0))), 1e-9)

    def learn(self, duration_s: float, weight: float) -> None:
        """A low of this duration ended that was a drop-out with probability `weight`."""
        self._begun += weight
        self._weight = min(self._weight + weight, 400.0)  # forgets slowly: sources warm up over a job
        step = weight / self._weight
        gap = log(duration_s) - self._mean_log
        self._mean_log += step * gap
        self._spread = max(0.25, sqrt(self._spread**2 + step * (gap * gap - self._spread**2)))


class ShortLaw:
    """Short circuits: how often they begin, how long they last untouched, how they answer to a lift."""

    __slots__ = ("_begun", "_endings", "_lifted", "_stuck", "_watched_s", "live_s")

    # A lift of one gap ends nearly every short: 15 µm to fall to 1/e, half of a usual gap (10–100 µm, references §3).
    LIFT_SCALE_UM = 15.0
    # What still lasts after three of these is not touching but stuck: welded, or bridged by debris.
    STUCK_UM = 45.0

    def __init__(self) -> None:
        # Before anything is known: one short in ten seconds of sparking, lasting two seconds if nothing is done. Both
        # chosen so that the first long lows of a job are answered with the small retreat, which is the test that tells.
        self._begun, self._watched_s, self._endings = 3.0, 6.0, 3.0
        # One in twenty is stuck, believed like twenty lifts' worth of watching: common practice, no source.
        self._stuck, self._lifted = 1.0, 20.0
        self.live_s = 30.0

    @property
    def rate_hz(self) -> float:
        """Shorts begun for each second that the source was on."""
        return self._begun / self.live_s

    @property
    def mean_s(self) -> float:
        """Mean duration when nothing is done."""
        return max(self._watched_s / self._endings, 0.05)

    def survival(self, duration_s: float, lift_um: float) -> float:
        """Probability that a short still lasts after this time and this lift; a part of them is stuck and stays."""
        stuck = self._stuck / self._lifted
        lasting = stuck + (1.0 - stuck) * exp(-max(lift_um, 0.0) / self.LIFT_SCALE_UM)
        return max(exp(-duration_s / self.mean_s) * lasting, 0.005)

    def learn(self, untouched_s: float, weight: float, *, answered_um: float = 0.0) -> None:
        """A low was a short with probability `weight`: so long until it ended, or until a lift of `answered_um` did it.

        Of an exponential law the mean is time watched over endings watched: a short that was lifted out of adds its
        time and no ending. Leaving it out would keep only the short ones.
        """
        self._begun += weight
        self._watched_s += weight * untouched_s
        if answered_um <= 0.0:
            self._endings += weight
        else:
            self._lifted += weight
            self._stuck += weight if answered_um > self.STUCK_UM else 0.0
        if self._endings > 100.0:  # forgets slowly: gaps change with depth and dirt; chosen
            self._watched_s *= 0.5
            self._endings *= 0.5
