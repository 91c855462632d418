"""The way around and over what stands on the table, checked by geometry and against a polygon library (shapely)."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon

from controller.plan.build import PlanRefused, build_plan
from controller.plan.keep_outs import Obstacle, Ways
from controller.settings.job import Clamp, Points
from controller.settings.machine import KeepOut
from tests.plan.made import job, machine

SQUARE = Obstacle("square", ((4.0, -2.0), (6.0, -2.0), (6.0, 2.0), (4.0, 2.0)), 20.0)
PLACES = st.tuples(st.floats(-10, 20).map(lambda at: round(at, 2)), st.floats(-10, 20).map(lambda at: round(at, 2)))


def ways(*obstacles: Obstacle, highest_mm: float = 10.0) -> Ways:
    return Ways(obstacles, 5.0, highest_mm, 6.0)


def test_the_way_around_is_the_shortest_of_plane_geometry() -> None:
    """From (0, 0) to (10, 0) past the corners (4, 2) and (6, 2): 2·√(4² + 2²) + 2."""
    assert ways(SQUARE).length_mm((0.0, 0.0), (10.0, 0.0)) == pytest.approx(2 * math.hypot(4, 2) + 2, abs=1e-4)
    assert [leg.tip_mm for leg in ways(SQUARE).legs((0.0, 0.0), (10.0, 0.0))] == [5.0, 5.0, 5.0]


def test_what_is_quicker_is_passed_over() -> None:
    """A bar 100 mm long, its top 1 mm above the travelling tip: lifting 3 mm costs 2 · 6 · 3 = 36 mm."""
    bar = Obstacle("bar", ((4.0, -50.0), (6.0, -50.0), (6.0, 50.0), (4.0, 50.0)), 6.0)
    (leg,) = ways(bar).legs((0.0, 0.0), (10.0, 0.0))
    assert leg.tip_mm == 8.0
    assert ways(bar).length_mm((0.0, 0.0), (10.0, 0.0)) == pytest.approx(46.0)


def test_without_a_way_the_length_is_infinite() -> None:
    ring = [
        Obstacle("n", ((-9, 8), (9, 8), (9, 9), (-9, 9)), 99.0),
        Obstacle("s", ((-9, -9), (9, -9), (9, -8), (-9, -8)), 99.0),
        Obstacle("w", ((-9, -9), (-8, -9), (-8, 9), (-9, 9)), 99.0),
        Obstacle("e", ((8, -9), (9, -9), (9, 9), (8, 9)), 99.0),
    ]
    assert math.isinf(ways(*ring).length_mm((0.0, 0.0), (20.0, 0.0)))


@given(PLACES, PLACES, st.lists(st.tuples(PLACES, st.floats(0.5, 4), st.floats(0.5, 4)), min_size=1, max_size=4))
def test_no_way_leads_through_an_obstacle(a, b, boxes) -> None:  # type: ignore[no-untyped-def]
    obstacles = [Obstacle("box", ((x, y), (x + w, y), (x + w, y + h), (x, y + h)), 99.0) for (x, y), w, h in boxes]
    shapes = [Polygon(obstacle.corners) for obstacle in obstacles]
    legs = ways(*obstacles).legs(a, b)
    assert math.isinf(ways(*obstacles).length_mm(a, b)) == (not legs)
    for start, end in pairwise([a, *(leg.to for leg in legs)]):
        if start != end:
            way = LineString([start, end])
            assert all(way.intersection(shape.buffer(-1e-5)).length < 1e-5 for shape in shapes)


@given(PLACES, st.floats(0, 360))
def test_distance_to_a_rectangle_is_that_of_the_polygon_library(point, turn) -> None:  # type: ignore[no-untyped-def]
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    corners = tuple((c * x - s * y, s * x + c * y) for x, y in ((0, 0), (7, 0), (7, 3), (0, 3)))
    obstacle = Obstacle("turned", corners, 1.0)
    assert obstacle.distance_mm(point) == pytest.approx(Polygon(corners).distance(_point(point)), abs=1e-9)
    grown = Polygon(obstacle.grown(1.5).corners)
    assert grown.area == pytest.approx(10 * 6)
    assert grown.contains(Polygon(corners))


def _point(place: tuple[float, float]) -> Point:
    return Point(place)


def test_a_clamp_over_a_hole_is_refused_by_name() -> None:
    clamp = Clamp(name="left clamp", from_mm=(4.0, 4.0), to_mm=(7.0, 7.0), above_mm=8.0)
    with pytest.raises(PlanRefused, match=r"hole 1 is less than 1.6 mm from keep-out 'left clamp'"):
        build_plan(job(work__keep_out=(clamp,)), machine())


def test_a_tall_post_must_leave_room_for_the_holder() -> None:
    post = KeepOut(name="post", from_mm=(36.0, 36.0), to_mm=(38.0, 38.0), height_mm=-30.0)
    with pytest.raises(PlanRefused, match=r"the holder \(20 mm about the electrode\) would meet it"):
        build_plan(job(), machine(keep_out=(post,)))


def test_the_order_goes_around_a_clamp_and_says_what_it_gains() -> None:
    """Two columns of holes on both sides of a wall that is open at one end: crossing back and forth is what rows do."""
    wall = Clamp(name="wall", from_mm=(14.0, -5.0), to_mm=(16.0, 40.0), above_mm=9.0)
    places = [(x, y) for y in (5.0, 15.0, 25.0) for x in (10.0, 20.0)]
    plan = build_plan(job(work__keep_out=(wall,), holes__pattern=[Points(kind="list", at_mm=places)]), machine())
    sides = [hole.x_mm > 55.0 for hole in plan.holes]
    assert sorted(sides) == sides or sorted(sides, reverse=True) == sides
    assert plan.travel.gain > 0.4
