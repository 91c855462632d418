"""A figure known within limits: low, expected, high, the outer two holding about 95 %."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

TWO_SIDED_95 = 1.96
"""Standard deviations to each side that hold 95 % of a normal distribution."""


@dataclass(slots=True, frozen=True)
class Range:
    """Low, expected and high."""

    low: float
    expected: float
    high: float

    @classmethod
    def exactly(cls, figure: float) -> Range:
        """A figure that is known."""
        return cls(figure, figure, figure)

    @classmethod
    def around(cls, median: float, relative_u: float) -> Range:
        """A positive figure whose logarithm is normal, from its median and relative standard uncertainty."""
        spread = math.exp(TWO_SIDED_95 * math.sqrt(math.log1p(relative_u**2)))
        return cls(median / spread, median, median * spread)

    def __add__(self, other: Range) -> Range:
        """The sum of two figures that are off independently: the distances to the limits add as squares."""
        expected = self.expected + other.expected
        down = math.hypot(self.expected - self.low, other.expected - other.low)
        up = math.hypot(self.high - self.expected, other.high - other.expected)
        return Range(expected - down, expected, expected + up)

    def times(self, factor: float) -> Range:
        """The figure times a known factor of at least 0."""
        return Range(self.low * factor, self.expected * factor, self.high * factor)

    def through(self, rising: Callable[[float], float]) -> Range:
        """What a rising function makes of it."""
        return Range(rising(self.low), rising(self.expected), rising(self.high))
