"""What the checks compute from samples: noise, runs of lows, a fingerprint, the clearance of the tip."""

from __future__ import annotations

from math import exp, sqrt
from random import Random
from statistics import median

import pytest
from scipy.stats import chi2

from controller.core.checks.at_rest import noise_v
from controller.core.checks.examination import Verdict
from controller.core.checks.plan import CHECKS
from controller.core.checks.source import LowRuns, clearance_mm, fingerprint_verdict, spread_at_most
from controller.core.commissioning import bench_of
from controller.settings.machine import Machine

MACHINE = Machine(name="bench")
LEVEL = 300.0


@pytest.mark.parametrize("sd_v", [0.008, 0.3])
@pytest.mark.parametrize("level_v", [0.0, 3.0])
def test_noise_is_told_at_zero_where_half_of_it_is_cut_off_and_above(level_v: float, sd_v: float) -> None:
    chance = Random(1)
    readings = [max(level_v + chance.gauss(0.0, sd_v), 0.0) for _ in range(4000)]
    assert noise_v(readings) == pytest.approx(sd_v, rel=0.06)  # 1/sqrt(2n) is 1 %, the rest is the estimators' own


def test_drop_outs_between_are_no_noise() -> None:
    chance = Random(2)
    readings = [0.0 if n % 100 < 6 else 3.0 + chance.gauss(0.0, 0.01) for n in range(2000)]
    assert noise_v(readings) < 0.02


def lows_of(durations_s: list[float], live_s: float) -> LowRuns:
    """Samples of a source that drops out for these times, evenly spread."""
    runs = LowRuns(LEVEL)
    rest = int(live_s * 1000) - sum(round(each * 1000) for each in durations_s)
    for each in durations_s:
        runs.take([600] * (rest // (len(durations_s) + 1)) + [3] * round(each * 1000))
    runs.take([600] * (rest - rest // (len(durations_s) + 1) * len(durations_s)))
    return runs


def figures(verdict: Verdict) -> dict[str, float]:
    return {figure.name: figure.figure for figure in verdict.figures}


def test_runs_are_counted_however_the_samples_are_cut() -> None:
    samples = [600] * 5 + [3] * 50 + [600] * 3 + [3] * 10 + [600] * 4 + [3] * 14 + [600]
    whole, pieces = LowRuns(LEVEL), LowRuns(LEVEL)
    whole.take(samples)
    for n in range(0, len(samples), 7):
        pieces.take(samples[n : n + 7])
    assert whole.ended_s == pieces.ended_s == [0.050, 0.014]  # 10 ms may be a spark's pause
    assert (whole.low, whole.samples) == (74, len(samples))


def test_a_fingerprint_is_rate_median_and_two_standard_deviations() -> None:
    """Log-normal durations of 60 ms and a log-sd of 0.7: two of them above the median are 60 ms times exp 1.4."""
    chance = Random(3)
    durations = [min(max(0.06 * exp(chance.gauss(0.0, 0.7)), 0.014), 2.0) for _ in range(400)]
    found = figures(fingerprint_verdict(bench_of(MACHINE), lows_of(durations, 600.0)))
    assert found["rate"] == pytest.approx(400.5 / 600.0)
    assert found["median"] == pytest.approx(1e3 * median(durations), abs=1.0)
    assert found["longest to expect"] == pytest.approx(1e3 * max(durations), abs=1.0)


@pytest.mark.parametrize("n", [5, 10, 15, 44, 400])
def test_a_spread_is_at_most_what_chi_square_says(n: int) -> None:
    """Against scipy's own quantile."""
    assert spread_at_most(1.0, n) == pytest.approx(float(sqrt((n - 1) / chi2.ppf(0.05, n - 1))), rel=0.03)


def test_a_few_drop_outs_alike_do_not_shorten_what_is_believed_beyond_what_they_tell() -> None:
    found = figures(fingerprint_verdict(bench_of(MACHINE), lows_of([0.05, 0.06, 0.055, 0.065, 0.05], 50.0)))
    assert 65.0 < found["longest to expect"] < 100.0
    wide = figures(fingerprint_verdict(bench_of(MACHINE), lows_of([0.02, 0.06, 0.15, 0.04, 0.09], 50.0)))
    assert wide["longest to expect"] == 400.0  # as far as the machine file goes


def test_no_drop_out_is_no_proof_that_there_are_none() -> None:
    """The posterior mean by Jeffreys' prior is half an event; the durations stay the machine file's."""
    verdict = fingerprint_verdict(bench_of(MACHINE), lows_of([], 50.0))
    found = figures(verdict)
    assert verdict.outcome == "pass"
    assert found["rate"] == pytest.approx(0.01)
    assert (found["median"], found["longest to expect"]) == (60.0, 400.0)


def test_a_source_that_is_away_most_of_the_time_fails() -> None:
    assert fingerprint_verdict(bench_of(MACHINE), lows_of([0.3] * 40, 50.0)).outcome == "fail"


def test_the_clearance_counts_everything_that_is_not_known() -> None:
    """Top of z at 0, the rod 45 ± 2 mm, the work at -60 ± 2 mm: three of each off 15 mm."""
    assert clearance_mm(bench_of(MACHINE)) == pytest.approx(15.0 - 6.0 - 6.0)


def test_every_check_needs_only_what_comes_before_it() -> None:
    names = [check.name for check in CHECKS]
    assert len(set(names)) == len(names)
    for number, check in enumerate(CHECKS):
        assert set(check.needs) <= set(names[:number]), check.name
