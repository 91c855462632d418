"""Uncertainty of what is computed from several readings: the law of propagation, by looking how each moves the outcome.

JCGM 100:2008 (the GUM), 5.1.2 and note 2 of 5.1.3: the sensitivity to an input is half the change between the input one
standard uncertainty up and one down. Inputs are independent; what several readings share (the play of an axis, the
radius of the rod) is an input of its own. Pure and small: a dozen inputs, a few outcomes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

Outcome = Callable[[Sequence[float]], Sequence[float]]


@dataclass(slots=True, frozen=True)
class Propagated:
    """What came out, and the covariance of it."""

    means: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]

    def u(self, place: int) -> float:
        """Standard uncertainty of one outcome."""
        return sqrt(self.covariance[place][place])

    def u_along(self, direction: Sequence[float]) -> float:
        """Standard uncertainty of the first outcomes' sum weighted by `direction`."""
        n = range(len(direction))
        return sqrt(max(sum(direction[i] * direction[j] * self.covariance[i][j] for i in n for j in n), 0.0))


def propagate(outcome: Outcome, inputs: Sequence[float], us: Sequence[float]) -> Propagated:
    """Outcomes at the inputs, and their covariance from the inputs' standard uncertainties (same unit each)."""
    means = tuple(outcome(inputs))
    columns: list[list[float]] = []
    for place, u in enumerate(us):
        if u == 0.0:
            continue
        up, down = list(inputs), list(inputs)
        up[place] += u
        down[place] -= u
        columns.append([(a - b) / 2.0 for a, b in zip(outcome(up), outcome(down), strict=True)])
    n = range(len(means))
    covariance = tuple(tuple(sum(c[i] * c[j] for c in columns) for j in n) for i in n)
    return Propagated(means, covariance)
