"""Propagation of uncertainty against worked examples of the GUM (JCGM 100:2008)."""

from __future__ import annotations

from math import cos, pi, sin

import pytest

from controller.core.gum import propagate


def test_h1_end_gauge() -> None:
    """H.1: components 25, 9.7·1.7 (16.599), 6.7, 5.8, 3.9 and 2.887 nm combine to 32 nm."""
    parts = (25.0, 16.599, 6.7, 5.8, 3.9, 2.887)
    found = propagate(lambda each: (sum(each),), [0.0] * 6, parts)
    assert found.u(0) == pytest.approx(32.0, abs=0.5)


def test_h2_resistance_and_reactance_without_correlation() -> None:
    """H.2's inputs V = 4.9990(32) V, I = 19.6610(95) mA, phi = 1.04446(75) rad, taken as independent.

    R = V cos(phi)/I: u from the analytic derivatives of H.2.2.
    """
    v, i, phi = 4.9990, 0.019661, 1.04446
    us = (0.0032, 0.0000095, 0.00075)
    found = propagate(lambda p: (p[0] * cos(p[2]) / p[1], p[0] * sin(p[2]) / p[1]), (v, i, phi), us)
    r, x = found.means
    assert (r, x) == pytest.approx((127.732, 219.847), abs=5e-3)
    u_r = ((r * us[0] / v) ** 2 + (r * us[1] / i) ** 2 + (x * us[2]) ** 2) ** 0.5
    assert found.u(0) == pytest.approx(u_r, rel=1e-5)
    assert found.u_along((1.0, 0.0)) == pytest.approx(found.u(0))


def test_what_is_shared_moves_outcomes_together() -> None:
    found = propagate(lambda p: (p[0] + p[1], p[1]), (1.0, 2.0), (0.3, 0.4))
    assert found.covariance[0][1] == pytest.approx(0.16)
    assert propagate(lambda p: (cos(p[0]),), (pi / 2,), (0.0,)).u(0) == 0.0
