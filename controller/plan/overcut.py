"""Overcut learned from gauged holes.

Overcut (the gap a side that the sparks leave around the electrode) belongs to source, water and material; nobody knows
it before a first article was gauged. A gauged hole says `(diameter - rod) / 2`, blurred twice: by the gauge, whose
uncertainty is stated, and by the scatter from hole to hole, which is not known and has to be told apart from it.

The belief is Bayesian: the mean has the technology's guess as a normal prior, the scatter a broad log-normal one. For
every scatter on a grid the mean is solved exactly (normal prior, normal blur); the grid is then weighed by how well it
explains the holes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from controller.settings.technology import Guess

SCATTER_MEDIAN_MM = 0.004
"""Scatter a side believed before any hole was gauged. Some thousand craters shape one exit, so a hole scatters by much
less than a crater's depth. Chosen so that with SCATTER_LOG_SD its 95 % range, 0.4 to 36 µm, holds both the finest
published (256 holes within 1.3 µm, 10.1177/0954405413519787) and a rough home source."""

SCATTER_LOG_SD = 1.1
"""Standard deviation of the scatter's logarithm: a factor of three. Chosen with SCATTER_MEDIAN_MM."""

CARRIED_U_MM = 0.004
"""Standard uncertainty a side of taking an overcut to another plate, with other water and another thickness. Chosen so
that a shift of 3 % of a usual overcut (0.1 to 0.2 mm, common practice, no source) is no surprise."""

GRID_STEPS = 40
GRID_SPAN_SD = 4.0
"""The grid over the scatter's logarithm. Chosen so that finer or wider changes no result by more than 0.1 µm."""

LEAST_WEIGHT = 1e-7
"""Cases of the grid that weigh less are left out. Chosen so that nothing shown changes and much work is saved."""

TWO_SIGMA = math.erf(math.sqrt(2.0))
"""Probability within ± 2 standard deviations of a normal distribution."""


@dataclass(slots=True, frozen=True)
class Gauged:
    """One hole measured by hand: its number, its diameter with standard uncertainty, and the rod that made it (mm)."""

    hole: int
    diameter_mm: float
    u_mm: float
    rod_mm: float


@dataclass(slots=True, frozen=True)
class Overcut:
    """What is believed of the overcut, a side.

    Attributes:
        mean_mm: Mean over holes.
        u_mm: Standard uncertainty of that mean.
        scatter_mm: Standard deviation from hole to hole, widened for how little a few holes tell of it, so that a new
            hole lies within ± 2 `u_new_mm` as often as a normal one within two standard deviations.
        n: Gauged holes it rests on; 0 is a guess.
    """

    mean_mm: float
    u_mm: float
    scatter_mm: float
    n: int

    @property
    def u_new_mm(self) -> float:
        """Standard uncertainty a side for one new hole."""
        return math.hypot(self.u_mm, self.scatter_mm)

    @property
    def u_new_diameter_mm(self) -> float:
        """Standard uncertainty of a new hole's diameter; both sides move together."""
        return 2.0 * self.u_new_mm

    def carried(self) -> Overcut:
        """The belief taken to another plate: the same mean, less sure."""
        return replace(self, u_mm=math.hypot(self.u_mm, CARRIED_U_MM))


@dataclass(slots=True, frozen=True)
class _Case:
    """The belief of the mean for one assumed scatter, and the weight of that assumption."""

    weight: float
    mean: float
    variance: float
    scatter: float


def learn_overcut(guess: Guess, gauged: Sequence[Gauged]) -> Overcut:
    """The overcut believed after gauging.

    Args:
        guess: The technology's guess and its standard uncertainty, mm a side.
        gauged: Holes measured by hand; none leaves the guess.

    Raises:
        ValueError: A hole isn't larger than its rod, or its uncertainty isn't more than 0.
    """
    seen = [_overcut_of(hole) for hole in gauged]
    cases = _weighed([_case(guess, seen, scatter) for scatter in _scatters()])
    mean = sum(case.weight * case.mean for case in cases)
    variance = sum(case.weight * (case.variance + (case.mean - mean) ** 2) for case in cases)
    u_new = _half_width(cases, mean) / 2.0
    return Overcut(mean, math.sqrt(variance), math.sqrt(max(u_new**2 - variance, 0.0)), len(seen))


def _overcut_of(hole: Gauged) -> tuple[float, float]:
    """Overcut a side and the variance that gauging gives it."""
    if hole.diameter_mm <= hole.rod_mm or hole.u_mm <= 0:
        raise ValueError(
            f"hole {hole.hole}: a diameter above the rod's {hole.rod_mm:g} mm and an uncertainty above 0 are needed, "
            f"not {hole.diameter_mm:g} and {hole.u_mm:g}"
        )
    return (hole.diameter_mm - hole.rod_mm) / 2.0, (hole.u_mm / 2.0) ** 2


def _scatters() -> list[float]:
    step = 2.0 * GRID_SPAN_SD / GRID_STEPS
    return [
        SCATTER_MEDIAN_MM * math.exp(SCATTER_LOG_SD * (place * step - GRID_SPAN_SD)) for place in range(GRID_STEPS + 1)
    ]


def _case(guess: Guess, seen: Sequence[tuple[float, float]], scatter: float) -> _Case:
    """Exact normal update of the mean; `weight` is still the logarithm of prior times likelihood."""
    prior = guess.u**2
    precision = sum(1.0 / (scatter**2 + blur) for _, blur in seen)
    pull = sum((overcut - guess.guess) / (scatter**2 + blur) for overcut, blur in seen)
    misfit = sum((overcut - guess.guess) ** 2 / (scatter**2 + blur) for overcut, blur in seen)
    variance = 1.0 / (1.0 / prior + precision)
    spread = sum(math.log(scatter**2 + blur) for _, blur in seen) + math.log1p(prior * precision)
    log_prior = -0.5 * (math.log(scatter / SCATTER_MEDIAN_MM) / SCATTER_LOG_SD) ** 2
    log_weight = log_prior - 0.5 * (spread + misfit - pull**2 * variance)
    return _Case(log_weight, guess.guess + pull * variance, variance, scatter)


def _weighed(cases: Sequence[_Case]) -> list[_Case]:
    """The cases with logarithms turned to weights that add up to 1."""
    best = max(case.weight for case in cases)
    total = sum(math.exp(case.weight - best) for case in cases)
    shares = ((case, math.exp(case.weight - best) / total) for case in cases)
    return [replace(case, weight=share) for case, share in shares if share > LEAST_WEIGHT]


def _half_width(cases: Sequence[_Case], mean: float) -> float:
    """How far to each side of the mean a new hole lies with the probability of two standard deviations."""
    low, high = 0.0, 20.0 * max(math.sqrt(case.variance + case.scatter**2) for case in cases)
    for _ in range(30):  # halvings: chosen so that the width is exact to a millionth of a micrometre
        middle = (low + high) / 2.0
        if _within(cases, mean, middle) < TWO_SIGMA:
            low = middle
        else:
            high = middle
    return high


def _within(cases: Sequence[_Case], mean: float, half: float) -> float:
    def below(limit: float, case: _Case) -> float:
        deviation = math.sqrt(2.0 * (case.variance + case.scatter**2))
        return 0.5 * (1.0 + math.erf((limit - case.mean) / deviation))

    return sum(case.weight * (below(mean + half, case) - below(mean - half, case)) for case in cases)
