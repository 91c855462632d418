"""Sequential change detection: the tabular CUSUM and the EWMA.

Both watch a stream of scores for a lasting shift of its mean and answer after every score whether to alarm. A CUSUM
adds up how far the scores exceed their target by more than an allowance and alarms when the sum passes a threshold;
its run length (scores until an alarm) is known from theory, so its false alarms and its delay can be chosen.

In units of the scores' standard deviation the usual choice is an allowance of half the shift to be found, and a
threshold of 4 or 5 (Montgomery, *Introduction to Statistical Quality Control*, chapter 9). Fed with log-likelihood
ratios (target 0, allowance 0) the same sum is Page's optimal test for any distribution, not only the normal one.
"""

from __future__ import annotations

from math import exp, inf, sqrt
from typing import Final

# How far a random walk overshoots a boundary on average, both boundaries together, in standard deviations:
# 2 x 0.583; Siegmund 1985, Sequential Analysis, as given by Montgomery, chapter 9 (memory).
SIEGMUND_OVERSHOOT: Final = 1.166


class Cusum:
    """One-sided tabular CUSUM: S <- max(0, S + (x - target) - allowance), alarm while S > threshold.

    Args:
        target: Mean of the scores while nothing has changed, in the scores' unit.
        allowance: How far beyond the target is still no evidence (k), in the scores' unit, 0 or more.
        threshold: Sum at which to alarm (h), in the scores' unit, more than 0.
        head_start: Sum to begin with; half the threshold is the fast initial response of Lucas & Crosier 1982.
        downward: Watch for scores below the target instead of above it.

    Raises:
        ValueError: An allowance below 0, a threshold not above 0, or a head start outside 0 to threshold.
    """

    __slots__ = ("_sign", "allowance", "changed_after", "head_start", "level", "run", "samples", "target", "threshold")

    def __init__(
        self,
        target: float,
        allowance: float,
        threshold: float,
        head_start: float = 0.0,
        *,
        downward: bool = False,
    ) -> None:
        if allowance < 0 or threshold <= 0:
            raise ValueError(f"a CUSUM needs allowance >= 0 and threshold > 0, not {allowance} and {threshold}")
        if not 0 <= head_start <= threshold:
            raise ValueError(f"head start {head_start} is outside 0 to the threshold {threshold}")
        self.target = target
        self.allowance = allowance
        self.threshold = threshold
        self.head_start = head_start
        self._sign = -1.0 if downward else 1.0
        self.reset()

    def reset(self, at: float = 0.0) -> None:
        """Forget every score and begin again at the head start; a change is dated after `at` until the sum is 0."""
        self.level = self.head_start
        self.run = 0
        self.samples = 0
        self.changed_after = at

    def update(self, x: float, at: float | None = None) -> bool:
        """Take one score and say whether the sum now stands above the threshold.

        `at` is where the score was taken, in any unit (a depth, a time); without it scores are numbered from 1.
        Afterwards `level` is the sum, `run` the number of scores since it was last 0, and `changed_after` where the
        last score before that run was taken: the usual estimate of when the mean shifted.
        """
        self.samples += 1
        level = self.level + self._sign * (x - self.target) - self.allowance
        if level > 0.0:
            self.level = level
            self.run += 1
            return level > self.threshold
        self.level = 0.0
        self.run = 0
        self.changed_after = self.samples if at is None else at
        return False


class TwoSidedCusum:
    """An upper and a lower CUSUM on the same scores; alarms when either does. Arguments as for `Cusum`."""

    __slots__ = ("lower", "upper")

    def __init__(self, target: float, allowance: float, threshold: float, head_start: float = 0.0) -> None:
        self.upper = Cusum(target, allowance, threshold, head_start)
        self.lower = Cusum(target, allowance, threshold, head_start, downward=True)

    def reset(self, at: float = 0.0) -> None:
        """Forget every score on both sides."""
        self.upper.reset(at)
        self.lower.reset(at)

    def update(self, x: float, at: float | None = None) -> bool:
        """Take one score on both sides and say whether either sum stands above the threshold."""
        above = self.upper.update(x, at)
        below = self.lower.update(x, at)
        return above or below


class Ewma:
    """Exponentially weighted moving average: z <- weight * x + (1 - weight) * z, alarm outside the limits.

    The limits are those of the settled average, target +- width * sd * sqrt(weight / (2 - weight)).

    Args:
        target: Mean of the scores while nothing has changed; the average starts there.
        sd: Standard deviation of one score, in the scores' unit.
        weight: Share of the newest score, more than 0 and at most 1.
        width: Half-width of the limits in standard deviations of the average; 3 is usual (NIST e-Handbook 6.3.2.4).

    Raises:
        ValueError: A weight outside 0 to 1, or an sd or width that is not above 0.
    """

    __slots__ = ("half_width", "level", "target", "weight")

    def __init__(self, target: float, sd: float, weight: float, width: float = 3.0) -> None:
        if not 0 < weight <= 1 or sd <= 0 or width <= 0:
            raise ValueError(f"an EWMA needs 0 < weight <= 1, sd > 0, width > 0, not {weight}, {sd}, {width}")
        self.target = target
        self.weight = weight
        self.half_width = width * sd * sqrt(weight / (2.0 - weight))
        self.level = target

    @property
    def limits(self) -> tuple[float, float]:
        """The lower and the upper limit of the average, in the scores' unit."""
        return self.target - self.half_width, self.target + self.half_width

    def update(self, x: float) -> bool:
        """Take one score and say whether the average now lies outside its limits."""
        self.level += self.weight * (x - self.level)
        return abs(self.level - self.target) > self.half_width


def average_run_length(shift: float, allowance: float, threshold: float) -> float:
    """Scores until a one-sided CUSUM without head start alarms, on average, for independent normal scores.

    All three arguments are in standard deviations of a score; `shift` is how far the mean lies above the target: 0
    gives the run to a false alarm, the shift to be found gives the delay. Siegmund's approximation (Montgomery,
    chapter 9; memory): within a few per cent for thresholds of 3 or more.
    """
    drift = shift - allowance
    height = threshold + SIEGMUND_OVERSHOOT
    if abs(drift) * height < 1e-4:  # the limit for no drift; chosen so that cancellation stays below 1e-4
        return height * height
    if drift * height < -300.0:  # chosen so that exp() can't overflow: no one waits for 1e260 scores
        return inf
    return (exp(-2.0 * drift * height) + 2.0 * drift * height - 1.0) / (2.0 * drift * drift)
