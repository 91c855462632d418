"""Sparking out: over when little is left to widen, and no sooner."""

from __future__ import annotations

from math import log

import numpy as np
import pytest

from controller.core.spark_out import NONE_UM_S, SparkOut

TICK_S = 0.01
HALF_TOLERANCE_UM = 25.0  # of ± 50 µm, the diffuser's


def sparked_out(rng: np.random.Generator, first_hz: float, falls_s: float, widening_um: float) -> tuple[float, float]:
    """Follow a rate of first / (1 + t / falls_s) until it is over: how long it took (s), what was then left (µm)."""
    out, time_s = SparkOut(widening_um), 0.0
    while not out.over and time_s < 600.0:
        time_s += TICK_S
        out.saw(int(rng.poisson(TICK_S * first_hz / (1.0 + time_s / falls_s))), TICK_S)
    rate_hz = first_hz / (1.0 + time_s / falls_s)
    none_hz = NONE_UM_S / widening_um
    return time_s, widening_um * first_hz * falls_s * max(log(rate_hz / none_hz), 0.0)


@pytest.mark.parametrize(("first_hz", "falls_s", "widening_um"), [(60.0, 2.0, 0.3), (40.0, 5.0, 0.3), (20.0, 4.0, 0.5)])
def test_it_is_over_when_little_is_left(first_hz: float, falls_s: float, widening_um: float) -> None:
    """Rates that fall as one over the time, fifty of each: nine in ten end with less than half a usual tolerance left.

    By the law itself: what is left of its sum down to the rate that is as good as none. (Where a spark widens the hole
    by a micrometre and more, silence ends it sooner: the source must not stand live without removal.)
    """
    rng = np.random.default_rng(1)
    left_um = [sparked_out(rng, first_hz, falls_s, widening_um)[1] for _ in range(50)]
    assert float(np.quantile(left_um, 0.9)) <= HALF_TOLERANCE_UM


def test_silence_is_over_at_once() -> None:
    """No spark in the first second: nothing to wait for."""
    out = SparkOut(1.0)
    for _ in range(100):
        out.saw(0, TICK_S)
    assert out.over


def test_a_steady_rate_is_not_over() -> None:
    """Ten sparks a second for half a minute, of a third of a micrometre each: they will go on."""
    out = SparkOut(0.33)
    for tick in range(3000):
        out.saw(int(tick % 10 == 0), TICK_S)
        assert not out.over
