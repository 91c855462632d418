"""How long lows of each kind last and how often they begin, as counted on this machine while it works.

Three laws, one for each cause: the pause after a spark, the drop-out of the source, the short circuit. Each starts from
what is known beforehand and is told of every low that ended, with the probability that it was the cause.
"""

from __future__ import annotations

from math import erfc, exp, log, sqrt
from typing import Final

from controller.core.window import SPARK_PAUSE_MAX_MS
from controller.settings.machine import DropOuts


class PauseLaw:
    """How long the source pauses after a spark, as counted on this machine in whole milliseconds.

    Attributes:
        usual_ms: nine pauses in ten are over by then; a longer low is worth a second thought.
        longest_ms: lows up to this are taken for pauses; longer than expected of any source if this one's are.
    """

    __slots__ = ("_counts", "_total", "longest_ms", "usual_ms")

    # No source pauses longer than this. Chosen: twice what is expected of one.
    UP_TO_MS: Final = 26
    # Pauses end where so few lows end in three milliseconds. Chosen: drop-outs, some in ten seconds spread over a tenth
    # of a second and more, are ten times rarer among the hundred sparks a second.
    FEW: Final = 0.005

    def __init__(self) -> None:
        # Until this source was seen, every length up to the longest expected is as likely as every other.
        expected = int(SPARK_PAUSE_MAX_MS)
        self._counts = [1.0] * (expected + 1) + [0.0] * (self.UP_TO_MS + 3 - expected)
        self._total = float(expected + 1)
        self.usual_ms = self.longest_ms = SPARK_PAUSE_MAX_MS

    def learn(self, low_ms: float, times: int) -> None:
        """A low of this length was seen; one longer than any pause tells nothing of them."""
        if low_ms >= len(self._counts):
            return
        self._counts[int(low_ms)] += times
        self._total += times
        # Looked up every 64 pauses or so: chosen, they change slowly.
        if int(self._total) % 64 == 0:
            ages = (float(ms) for ms in range(1, len(self._counts)))
            self.usual_ms = next((ms for ms in ages if self.survival(ms) < 0.1), SPARK_PAUSE_MAX_MS)
            ends = range(int(SPARK_PAUSE_MAX_MS), self.UP_TO_MS)
            few = self.FEW * self._total
            self.longest_ms = float(
                next((ms for ms in ends if sum(self._counts[ms + 1 : ms + 4]) <= few), self.UP_TO_MS)
            )

    def survival(self, pause_ms: float) -> float:
        """Probability that a pause lasts for so many samples at least."""
        return sum(self._counts[int(pause_ms) :]) / self._total


class DropOutLaw:
    """Drop-outs of the source: how often they begin and how long they last (log-normal), fingerprint first."""

    __slots__ = ("_begun", "_mean_log", "_prior_s", "_spread", "_weight", "live_s")

    def __init__(self, fingerprint: DropOuts) -> None:
        # The fingerprint counts like one minute of watching: `check` keeps the source live for at most that long.
        self._prior_s = 60.0
        # No source is believed never to drop out: a third of one a minute at the least, chosen.
        self._begun = max(fingerprint.rate_hz, 0.005) * self._prior_s
        self._mean_log = log(fingerprint.median_s)
        # Two sigma between the median and the longest seen; never narrower than a factor of 1.5 (exp 0.4): chosen,
        # since a fingerprint saw few. The belief counts like eight drop-outs seen at most, like three without any: it
        # was seen without a load.
        self._spread = max(0.4, log(max(fingerprint.longest_s / fingerprint.median_s, 1.5)) / 2.0)
        self._weight = min(self._begun, 5.0) + 3.0
        self.live_s = 0.0

    @property
    def rate_hz(self) -> float:
        """Drop-outs begun for each second that the source was on."""
        return self._begun / (self._prior_s + self.live_s)

    def began(self, weight: float) -> None:
        """A long low began that is a drop-out with probability `weight`."""
        self._begun += weight

    @property
    def median_s(self) -> float:
        """Median duration."""
        return exp(self._mean_log)

    def survival(self, duration_s: float) -> float:
        """Probability that a drop-out that began `duration_s` ago still lasts; never quite 0: odds stay finite."""
        return max(0.5 * erfc((log(duration_s) - self._mean_log) / (self._spread * sqrt(2.0))), 1e-9)

    def learn(self, duration_s: float, weight: float) -> None:
        """A low of this duration ended that was a drop-out with probability `weight`."""
        self._weight = min(self._weight + weight, 400.0)  # forgets slowly: sources warm up over a job; chosen
        step = weight / self._weight
        gap = log(duration_s) - self._mean_log
        self._mean_log += step * gap
        # A nearly periodic source lasts nearly alike: down to a factor of 1.16 (exp 0.15), chosen.
        self._spread = max(0.15, sqrt(self._spread**2 + step * (gap * gap - self._spread**2)))


class ShortLaw:
    """Short circuits: how often they begin, how long they last untouched, how they answer to a lift.

    A bridge of debris is washed away in a twentieth of a second, metal on metal stays for seconds: the durations of
    shorts spread over decades, and no exponential holds them. An exponential that fits the long ones leaves all the
    brief ones to the drop-outs, which are then taken for more and longer than they are. So the survival falls as
    1 / (1 + t / t_half), Lomax' law of shape 1: half of them are over after t_half, a tenth last nine times as long.
    """

    __slots__ = ("_begun", "_half_s", "_lifted", "_stuck", "_weight", "live_s")

    # A lift of one gap ends nearly every short: 15 µm to fall to 1/e, half of a usual gap (10–100 µm, references §3).
    LIFT_SCALE_UM: Final = 15.0
    # What still lasts after three of these is not touching but stuck: welded, or bridged by debris.
    STUCK_UM: Final = 45.0
    # Half of all shorts are over after this, before anything is known: chosen so that the first long lows of a job are
    # answered with the small retreat, which is the test that tells. Believed like three shorts that were watched.
    HALF_S: Final = 1.0
    BELIEVED: Final = 3.0
    # No shorter than a spark's pause is told from, no longer than anybody would wait. Chosen.
    LEAST_HALF_S: Final = 0.03
    MOST_HALF_S: Final = 5.0
    MOST_WEIGHT: Final = 100.0  # forgets slowly: gaps change with depth and dirt; chosen

    def __init__(self) -> None:
        # One short in ten seconds of sparking: chosen as HALF_S is.
        self._begun = 3.0
        self._half_s, self._weight = self.HALF_S, self.BELIEVED
        # One in twenty is stuck, believed like twenty lifts' worth of watching: common practice, no source.
        self._stuck, self._lifted = 1.0, 20.0
        self.live_s = 30.0

    @property
    def rate_hz(self) -> float:
        """Shorts begun for each second that the source was on."""
        return self._begun / self.live_s

    @property
    def half_s(self) -> float:
        """Half of the shorts would be over after this time if nothing were done."""
        return self._half_s

    def survival(self, duration_s: float, lift_um: float) -> float:
        """Probability that a short still lasts after this time and this lift; a part of them is stuck and stays.

        Never below 1 in 200, chosen so that no drop-out, however long, is ever certain.
        """
        stuck = self._stuck / self._lifted
        lasting = stuck + (1.0 - stuck) * exp(-max(lift_um, 0.0) / self.LIFT_SCALE_UM)
        return max(lasting / (1.0 + duration_s / self._half_s), 0.005)

    def began(self, weight: float) -> None:
        """A long low began that is a short with probability `weight`."""
        self._begun += weight

    def learn(self, untouched_s: float, weight: float, *, answered_um: float = 0.0) -> None:
        """A low was a short with probability `weight`: so long until it ended, or until a lift of `answered_um` did it.

        A short that was lifted out of would have lasted longer: it is a censored one, and leaving it out would keep
        only the brief ones. A step of maximum likelihood in ln(t_half): the score of the law for one duration is
        (t - t_half) / (t + t_half), for a censored one t / (t + t_half), the information in one is 1/3.
        """
        whole = untouched_s + self._half_s
        if answered_um <= 0.0:
            score = (untouched_s - self._half_s) / whole
        else:
            score = untouched_s / whole
            self._lifted += weight
            self._stuck += weight if answered_um > self.STUCK_UM else 0.0
        self._weight = min(self._weight + weight, self.MOST_WEIGHT)
        # No single short moves it by more than a factor of e: chosen.
        step = min(3.0 * weight / self._weight, 1.0)
        self._half_s = min(max(self._half_s * exp(step * score), self.LEAST_HALF_S), self.MOST_HALF_S)
