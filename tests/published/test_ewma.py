"""The EWMA detector against the worked example of the NIST/SEMATECH e-Handbook, 6.3.2.4."""

from __future__ import annotations

import pytest

from controller.core.cusum import Ewma

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
SCORES = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
AVERAGES = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip


def test_nist_worked_example_averages_limits_and_no_alarm() -> None:
    """Averages and limits are those of the handbook, and nothing alarms."""
    detector = Ewma(target=50.0, sd=2.0539, weight=0.3, width=3.0)
    alarms, averages = [], []
    for x in SCORES:
        alarms.append(detector.update(x))
        averages.append(detector.level)
    assert averages == pytest.approx(AVERAGES, abs=0.0051)
    assert detector.limits == pytest.approx((47.4115, 52.5884), abs=1e-4)
    assert not any(alarms)


@pytest.mark.parametrize("step", [4.0, -4.0])
def test_a_lasting_step_alarms_on_either_side(step: float) -> None:
    """A step of 4 on the handbook's chart alarms at the third score: 4 (1 - 0.7^n) first exceeds 2.588 at n = 3."""
    detector = Ewma(target=50.0, sd=2.0539, weight=0.3)
    assert [detector.update(50.0 + step) for _ in range(4)] == [False, False, True, True]


@pytest.mark.parametrize(
    ("sd", "weight", "width"), [(1.0, 0.0, 3.0), (1.0, 1.1, 3.0), (0.0, 0.3, 3.0), (1.0, 0.3, 0.0)]
)
def test_meaningless_settings_are_refused(sd: float, weight: float, width: float) -> None:
    """A weight outside 0 to 1, and an sd or width of 0, are refused."""
    with pytest.raises(ValueError, match="an EWMA needs"):
        Ewma(0.0, sd, weight, width)
