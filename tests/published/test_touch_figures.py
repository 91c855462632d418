"""The figures of touching against ISO 230-2 on open data of a real axis.

Source: the project's references, section 6 (formulae from memory, data of a cheap real axis, five targets, five runs
each way; B, R, M and A recomputed there).
"""

from __future__ import annotations

import pytest

from controller.core.checks.examination import mean, standard_deviation

UP = [
    [0.00139, 0.01634, 0.01634, 0.04988, 0.04665],
    [-0.00655, 0.01164, 0.01891, 0.05810, 0.06659],
    [-0.02782, -0.00802, -0.01005, 0.01986, 0.03440],
    [-0.02526, -0.00384, 0.00181, 0.03495, 0.04909],
    [0.00316, 0.00397, 0.00963, 0.03024, 0.05165],
]
DOWN = [
    [-0.10205, -0.01598, 0.00139, 0.00746, 0.03857],
    [-0.11969, -0.02392, -0.00251, 0.00032, 0.03830],
    [-0.13005, -0.02904, -0.01489, -0.01126, 0.01622],
    [-0.05233, -0.02809, -0.01152, 0.00949, 0.02323],
    [-0.05017, -0.01946, -0.01462, 0.01731, 0.03024],
]


def test_standard_deviations_and_means_give_the_standard_s_figures() -> None:
    """The figures come out with a row for each target; the page says so the other way round."""
    sides = list(zip(UP, DOWN, strict=True))
    reversal = [mean(up) - mean(down) for up, down in sides]
    repeatability = [
        max(2 * sd_up + 2 * sd_down + abs(b), 4 * sd_up, 4 * sd_down)
        for (up, down), b in zip(sides, reversal, strict=True)
        for sd_up, sd_down in [(standard_deviation(up), standard_deviation(down))]
    ]
    two_way = [(mean(up) + mean(down)) / 2 for up, down in sides]
    high = [mean(side) + 2 * standard_deviation(side) for pair in sides for side in pair]
    low = [mean(side) - 2 * standard_deviation(side) for pair in sides for side in pair]
    assert max(map(abs, reversal)) == pytest.approx(0.05124, abs=5e-6)
    assert max(repeatability) == pytest.approx(0.23715, abs=5e-6)
    assert max(two_way) - min(two_way) == pytest.approx(0.02226, abs=5e-6)
    assert max(high) - min(low) == pytest.approx(0.24337, abs=5e-6)
