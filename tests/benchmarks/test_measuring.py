"""A fixed schedule of measurements, put in from outside, is really kept."""

from __future__ import annotations

from tests.benchmarks.measuring import Errand, run


def test_every_second_hole_is_measured_and_no_other() -> None:
    """Three holes: at the start, before the third, at the end."""
    found = run(Errand(3, 0, holes=3, every=2))
    assert found.score.finished == 3
    assert found.measurements == 3
