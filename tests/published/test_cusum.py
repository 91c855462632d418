"""The CUSUM detector against published worked examples and published average run lengths."""

from __future__ import annotations

from collections.abc import Iterator
from math import erf, sqrt

import numpy as np
import pytest

from controller.core.cusum import Cusum, TwoSidedCusum, average_run_length

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
NIST_MEANS = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip
NIST_S_HI = [0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
NIST_S_LO = [0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.715, 0.1725, 0.255, 0.3125, 0]

# Montgomery, Introduction to Statistical Quality Control, tables 9.1 and 9.2.
MONTGOMERY = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
    9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
]  # fmt: skip

# Lucas & Crosier 1982, Technometrics 24, 199-205: two-sided, k 0.5, h 4: (shift, ARL, ARL with head start h/2).
LUCAS_CROSIER = [
    (0.0, 168, 149), (0.25, 74.2, 62.7), (0.5, 26.6, 20.1), (0.75, 13.3, 8.97), (1.0, 8.38, 5.29),
    (1.5, 4.75, 2.86), (2.0, 3.34, 2.01), (2.5, 2.62, 1.59), (3.0, 2.19, 1.32),
]  # fmt: skip


def test_nist_worked_example_sums_and_first_alarm() -> None:
    """Both sums follow the NIST table, and the first alarm is at group 14."""
    detector = TwoSidedCusum(target=325.0, allowance=0.3175, threshold=4.1959)
    alarms, upper, lower = [], [], []
    for mean in NIST_MEANS:
        alarms.append(detector.update(mean))
        upper.append(detector.upper.level)
        lower.append(detector.lower.level)
    assert upper == pytest.approx(NIST_S_HI, abs=1e-9)
    assert lower == pytest.approx(NIST_S_LO + [0] * 8, abs=1e-9)
    assert alarms.index(True) + 1 == 14


def test_montgomery_worked_example_alarm_run_and_date_of_change() -> None:
    """Montgomery's example alarms at sample 29, 7 samples into its run, and dates the change after sample 22."""
    detector = Cusum(target=10.0, allowance=0.5, threshold=5.0)
    rows = [(detector.update(x), detector.run, detector.changed_after, detector.level) for x in MONTGOMERY]
    alarm, run, changed_after, _ = rows[28]
    assert [row[0] for row in rows].index(True) + 1 == 29
    assert (alarm, run, changed_after) == (True, 7, 22)
    assert [row[3] for row in rows[-5:]] == pytest.approx([3.47, 3.35, 4.47, 5.28, 5.30], abs=1e-9)


def test_lucas_crosier_example_with_and_without_head_start() -> None:
    """A head start of half the threshold brings the alarm forward from sample 7 to sample 3 (Lucas & Crosier 1982)."""
    scores = [0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6]
    plain, started = Cusum(0.0, 0.5, 5.0), Cusum(0.0, 0.5, 5.0, head_start=2.5)
    sums, plain_alarms, started_alarms = [], [], []
    for x in scores:
        plain_alarms.append(plain.update(x))
        started_alarms.append(started.update(x))
        sums.append(plain.level)
    assert sums == pytest.approx([0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0], abs=1e-9)
    assert plain_alarms.index(True) + 1 == 7
    assert started_alarms.index(True) + 1 == 3


def exact_run_lengths(shift: float, allowance: float, threshold: float, states: int = 120) -> np.ndarray:
    """ARL of our detector from each of `states` evenly spaced sums (the first is 0), for normal scores.

    The Markov-chain method of Brook & Evans 1972 (Biometrika 59, 539-549), with our detector as the chain: the normal
    scores are put on a lattice as wide as the states, and where a score leads from a sum is asked of `update`.
    """
    width = 2.0 * threshold / (2 * states - 1)
    detector = Cusum(0.0, allowance, threshold)
    transition = np.zeros((states, states))
    for start in range(states):
        for jump in range(-states, states):
            detector.level = start * width
            if not detector.update(allowance + jump * width):
                lower, upper = (allowance + (jump + side) * width - shift for side in (-0.5, 0.5))
                below = 0.0 if jump == -states else normal(lower)
                transition[start, round(detector.level / width)] += normal(upper) - below
    return np.linalg.solve(np.eye(states) - transition, np.ones(states))


def normal(x: float) -> float:
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))


def two_sided(above: np.ndarray, below: np.ndarray, share: float) -> float:
    """ARL of the pair from those of its sides, both started at `share` of the threshold (Lucas & Crosier 1982)."""
    where = share * (len(above) - 0.5)
    started_above, started_below = (np.interp(where, range(len(side)), side) for side in (above, below))
    return float((started_above * below[0] + started_below * above[0] - above[0] * below[0]) / (above[0] + below[0]))


@pytest.mark.parametrize(("shift", "plain", "head_started"), LUCAS_CROSIER)
def test_average_run_lengths_of_our_detector_are_those_of_lucas_and_crosier(
    shift: float, plain: float, head_started: float
) -> None:
    """False-alarm interval and delay agree with the table of Lucas & Crosier 1982 to its rounding."""
    above, below = exact_run_lengths(shift, 0.5, 4.0), exact_run_lengths(-shift, 0.5, 4.0)
    assert two_sided(above, below, 0.0) == pytest.approx(plain, rel=0.004)
    assert two_sided(above, below, 0.5) == pytest.approx(head_started, rel=0.006)


@pytest.mark.parametrize(("shift", "published"), [(0.0, 117.59), (1.5, 3.75)])
def test_one_sided_run_lengths_are_those_of_brook_and_evans(shift: float, published: float) -> None:
    """One-sided, k 0.5, h 3: Brook & Evans 1972."""
    assert exact_run_lengths(shift, 0.5, 3.0)[0] == pytest.approx(published, rel=0.002)


def run_lengths(shift: float, head_start: float, runs: int, seed: int) -> Iterator[int]:
    """Scores until our two-sided detector alarms, over simulated runs."""
    rng = np.random.default_rng(seed)
    for _ in range(runs):
        detector = TwoSidedCusum(0.0, 0.5, 4.0, head_start)
        length = 1
        while not detector.update(rng.normal(shift, 1.0)):
            length += 1
        yield length


@pytest.mark.parametrize("head_start", [0.0, 2.0])
@pytest.mark.parametrize("row", [0, 3, 4, 6], ids=lambda row: f"shift {LUCAS_CROSIER[row][0]}")
def test_simulated_run_lengths_agree_within_their_own_error(row: int, head_start: float) -> None:
    """Runs of the two-sided detector average to the published length within 4 standard errors (and its rounding)."""
    shift, plain, head_started = LUCAS_CROSIER[row]
    published = head_started if head_start else plain
    lengths = list(run_lengths(shift, head_start, runs=1500, seed=20251 + row))
    mean = sum(lengths) / len(lengths)
    error = sqrt(sum((length - mean) ** 2 for length in lengths)) / len(lengths)
    assert abs(mean - published) < 4.0 * error + 0.005 * published


@pytest.mark.parametrize(
    ("threshold", "shift"), [(3.0, 0.0), (4.0, 0.0), (4.0, 0.5), (4.0, 1.0), (5.0, 0.0), (5.0, 2.0)]
)
def test_the_run_length_formula_is_good_to_a_few_per_cent(threshold: float, shift: float) -> None:
    """Siegmund's formula agrees with the exact run length of our detector within 6 %."""
    assert average_run_length(shift, 0.5, threshold) == pytest.approx(
        exact_run_lengths(shift, 0.5, threshold)[0], rel=0.06
    )


def test_the_run_length_formula_gives_the_two_sided_figure_of_montgomery() -> None:
    """At k 0.5, h 5, no shift: 938.2 one-sided by Siegmund's formula, so 469.1 two-sided (Montgomery, memory)."""
    assert average_run_length(0.0, 0.5, 5.0) == pytest.approx(938.2, rel=1e-3)


def test_the_run_length_formula_is_smooth_through_no_drift_and_never_overflows() -> None:
    """Either side of zero drift the formula meets its limit, and an absurd threshold gives infinity, not an error."""
    limit = average_run_length(0.5, 0.5, 4.0)
    assert average_run_length(0.5 + 1e-4, 0.5, 4.0) == pytest.approx(limit, rel=1e-3)
    assert average_run_length(0.5 - 1e-4, 0.5, 4.0) == pytest.approx(limit, rel=1e-3)
    assert average_run_length(-10.0, 0.5, 500.0) == float("inf")
