"""The work frame turns and moves, and comes back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.plan.frame import Frame

COORDINATES = st.floats(-500, 500)
POINTS = st.tuples(COORDINATES, COORDINATES)
FRAMES = st.builds(Frame, POINTS, st.floats(-360, 360))


def test_a_quarter_turn_takes_x_to_y() -> None:
    assert Frame((40.0, 30.0), 90.0).to_machine((10.0, 0.0)) == pytest.approx((40.0, 40.0))


@given(FRAMES, POINTS)
def test_there_and_back_is_where_it_was(frame: Frame, point: tuple[float, float]) -> None:
    assert frame.to_job(frame.to_machine(point)) == pytest.approx(point, abs=1e-9)


@given(FRAMES, POINTS, POINTS)
def test_distances_stay(frame: Frame, one: tuple[float, float], two: tuple[float, float]) -> None:
    assert math.dist(frame.to_machine(one), frame.to_machine(two)) == pytest.approx(math.dist(one, two), abs=1e-9)
