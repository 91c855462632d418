"""The stick in its holder: nothing is lost but what is eroded."""

from __future__ import annotations

import pytest

from sim.electrode import ElectrodeTruth
from sim.rings import rings
from sim.stick import Stick


def stick(out_mm: float = 45.0) -> Stick:
    return Stick(ElectrodeTruth(rings(600.0, 0.0, 25.0), 1000.0 * out_mm, 0.0), 120.0, 3.0, 22.0)


def test_an_advance_takes_from_the_holder_what_it_adds_below() -> None:
    one = stick(30.0)
    one.advance(45.0)
    assert one.electrode.length_um == pytest.approx(45_000.0)
    assert one.stock_mm == pytest.approx(120.0)


def test_a_stick_nearly_used_up_stands_out_as_far_as_its_grip_allows() -> None:
    one = stick(30.0)
    one._held_um = 10_000.0
    one.advance(45.0)
    assert one.electrode.length_um == pytest.approx(37_000.0)
    assert one.renewed == 0


def test_a_stick_that_can_no_longer_stand_out_is_renewed_flat_and_straight() -> None:
    one = stick(15.0)
    one._held_um = 5000.0
    one.electrode.crater(3, 1e6, 2)
    one.electrode.bend_um = 9.0
    one.advance(44.0)
    assert one.renewed == 1
    assert one.stock_mm == pytest.approx(120.0)
    assert one.electrode.length_um == pytest.approx(44_000.0)
    assert one.electrode.bend_um == 0.0
    assert max(one.electrode.profile_um) == 0.0
