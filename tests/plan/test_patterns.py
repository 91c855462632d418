"""Patterns put the holes where a drawing would."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.plan.patterns import places
from controller.settings.job import Circle, Holes, Pattern, Points, Rectangular, Staggered


def holes(*patterns: Pattern) -> Holes:
    return Holes(diameter_mm=1.5, tolerance_mm=0.05, pattern=list(patterns))


def test_a_rectangular_pattern_goes_along_x_first() -> None:
    pattern = Rectangular(kind="rectangular", origin_mm=(1.0, 2.0), columns=3, rows=2, pitch_mm=5.0)
    assert places(holes(pattern)) == [(1.0, 2.0), (6.0, 2.0), (11.0, 2.0), (1.0, 7.0), (6.0, 7.0), (11.0, 7.0)]


def test_a_rectangular_pattern_may_have_two_pitches() -> None:
    pattern = Rectangular(kind="rectangular", origin_mm=(0.0, 0.0), columns=2, rows=2, pitch_mm=(5.0, 7.0))
    assert places(holes(pattern)) == [(0.0, 0.0), (5.0, 0.0), (0.0, 7.0), (5.0, 7.0)]


@given(st.integers(2, 12), st.integers(2, 12), st.floats(0.5, 20))
def test_neighbours_of_a_staggered_pattern_stand_one_pitch_away(columns: int, rows: int, pitch: float) -> None:
    """At 60°, the nearest other hole is one pitch away from every hole, along the row and across it (geometry)."""
    pattern = Staggered(kind="staggered", origin_mm=(3.0, -2.0), columns=columns, rows=rows, pitch_mm=pitch)
    made = places(holes(pattern))
    assert len(made) == columns * rows
    for number, place in enumerate(made):
        others = made[:number] + made[number + 1 :]
        assert min(math.dist(place, other) for other in others) == pytest.approx(pitch)
        across = [other for other in others if abs(other[1] - place[1]) > 1e-6]
        assert min(math.dist(place, other) for other in across) == pytest.approx(pitch)


@given(st.integers(1, 60), st.floats(1, 50), st.floats(-360, 360))
def test_holes_of_a_circle_are_evenly_spread_on_it(count: int, radius: float, start: float) -> None:
    pattern = Circle(kind="circle", centre_mm=(10.0, 20.0), radius_mm=radius, count=count, start_deg=start)
    made = places(holes(pattern))
    assert len(made) == count
    assert all(math.dist(place, (10.0, 20.0)) == pytest.approx(radius) for place in made)
    chord = 2.0 * radius * math.sin(math.pi / count)
    if count > 1:
        following = [*made[1:], made[0]]
        assert all(math.dist(a, b) == pytest.approx(chord) for a, b in zip(made, following, strict=True))


def test_the_first_hole_of_a_circle_stands_at_the_start_angle_anticlockwise_from_x() -> None:
    pattern = Circle(kind="circle", centre_mm=(0.0, 0.0), radius_mm=10.0, count=4, start_deg=90.0)
    assert places(holes(pattern))[0] == pytest.approx((0.0, 10.0), abs=1e-9)
    assert places(holes(pattern))[1] == pytest.approx((-10.0, 0.0), abs=1e-9)


def test_patterns_follow_each_other_in_the_order_of_the_file() -> None:
    first = Points(kind="list", at_mm=[(9.0, 9.0)])
    second = Rectangular(kind="rectangular", origin_mm=(0.0, 0.0), columns=1, rows=1, pitch_mm=1.0)
    assert places(holes(first, second)) == [(9.0, 9.0), (0.0, 0.0)]
