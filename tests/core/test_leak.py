"""Conductivity from the leak through a film: against R = g/(σ·A), and on what is not enough to tell."""

from __future__ import annotations

from math import pi

import pytest

from controller.core.leak import conductivity_us_cm


def descent(us_cm: float, film_um: float = 20.0) -> list[tuple[float, float]]:
    """Readings of a 1.2 mm flat rod on its way down to metal at height 100 µm, through 2.2 kΩ."""
    trace = []
    for gap in [number * 0.5 for number in range(80, 0, -1)]:
        ohm = gap / (us_cm * 1e-10 * pi / 4.0 * 1200.0**2)
        trace.append((100.0 + gap, 5.0 * ohm / (ohm + 2200.0) if gap < film_um else 5.0))
    return trace


@pytest.mark.parametrize("us_cm", [100.0, 350.0, 900.0])
def test_the_truth_lies_inside_a_narrow_range(us_cm: float) -> None:
    found = conductivity_us_cm(descent(us_cm), 100.0, 1200.0, 0.0, 2200.0)
    assert found is not None
    low, high = found
    assert low < us_cm < high
    assert high / low < 2.5


def test_the_published_leak_comes_back() -> None:
    """64 V over 30 µm of water of 100 µS/cm under 2.0106 mm² is 42.9 mA (references, section 1): 1492 Ω."""
    ohm = 64.0 / 0.0429
    volts = 5.0 * ohm / (ohm + 2200.0)
    found = conductivity_us_cm([(30.0, volts)] * 8, 0.0, 1600.0, 0.0, 2200.0)
    assert found is not None
    assert (found[0] * found[1]) ** 0.5 == pytest.approx(100.0, rel=2e-3)


def test_a_dry_descent_tells_nothing() -> None:
    assert conductivity_us_cm([(100.0 + gap, 5.0) for gap in range(50, 0, -1)], 100.0, 1200.0, 0.0, 2200.0) is None
