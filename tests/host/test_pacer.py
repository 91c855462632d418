"""Deadlines: absolute, counted, never made up for."""

from __future__ import annotations

import pytest

from controller.host.pacer import Pacer


def test_lateness_never_adds_up() -> None:
    pacer = Pacer(0.01, 0.0)
    late = [pacer.begin(tick * 0.01 + 0.002) for tick in range(100)]
    assert late == pytest.approx([0.002] * 100)
    assert (pacer.ticks, pacer.missed) == (100, 0)
    assert pacer.due_s == pytest.approx(1.0)


def test_a_tick_that_comes_late_leaves_out_those_that_were_due_meanwhile() -> None:
    pacer = Pacer(0.01, 0.0)
    pacer.begin(0.0)
    pacer.begin(0.055)  # was due at 0.01; 0.02, 0.03, 0.04 and 0.05 have passed
    assert pacer.missed == 4
    assert pacer.due_s == pytest.approx(0.06)


def test_missed_ticks_are_reported_together_and_not_too_often() -> None:
    pacer = Pacer(0.01, 0.0)
    pacer.begin(0.0)
    assert pacer.report(0.0) is None
    pacer.begin(0.035)
    assert pacer.report(0.035) == (2, pytest.approx(0.025), 2)
    pacer.begin(0.075)
    assert pacer.report(0.075) is None
    assert pacer.report(1.1) == (3, pytest.approx(0.035), 5)
    assert pacer.report(3.0) is None


def test_shares_of_the_lateness_are_known_to_a_hundredth_of_a_millisecond() -> None:
    pacer = Pacer(0.01, 0.0)
    for tick in range(1000):
        pacer.begin(tick * 0.01 + (0.003 if tick == 500 else 0.0001))
    assert pacer.late_s(0.5) == pytest.approx(0.0001, abs=2e-5)
    assert pacer.late_s(0.999) == pytest.approx(0.0001, abs=2e-5)
    assert pacer.late_s(1.0) == pytest.approx(0.003, abs=2e-5)
    assert pacer.worst_s == pytest.approx(0.003)
    assert "1000 ticks" in pacer.words()
