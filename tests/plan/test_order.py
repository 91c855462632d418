"""The travel order visits every hole once and never travels more than the order of the job."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.plan.nearness import Cells
from controller.plan.order import least_mm, length_mm, spread_order, travel_order
from controller.plan.patterns import places
from controller.settings.job import Holes, Point, Staggered

COORDINATES = st.floats(0, 100).map(lambda at: round(at, 3))
CLOUDS = st.lists(st.tuples(COORDINATES, COORDINATES), max_size=40)
START = (-10.0, -10.0)


@given(CLOUDS)
def test_every_hole_is_visited_once(points: list[Point]) -> None:
    assert sorted(travel_order(points, START)) == list(range(len(points)))


@given(CLOUDS)
def test_the_way_is_never_longer_than_the_order_of_the_job(points: list[Point]) -> None:
    order = travel_order(points, START)
    assert length_mm(points, order, START) <= length_mm(points, range(len(points)), START) + 1e-6


@given(st.lists(st.tuples(COORDINATES, COORDINATES), min_size=1, max_size=7))
def test_with_few_holes_the_way_is_near_the_best_of_all_orders(points: list[Point]) -> None:
    """Against all orders tried out: 2-opt and Or-opt stay within a quarter of the best on so few points (chosen so)."""
    best = min(length_mm(points, order, START) for order in itertools.permutations(range(len(points))))
    assert length_mm(points, travel_order(points, START), START) <= 1.25 * best + 1e-9


def test_a_staggered_grid_is_drilled_row_by_row_turning_at_each_end() -> None:
    """The shortest way through a grid has one pitch a step: every step but the first is one pitch."""
    pattern = Staggered(kind="staggered", origin_mm=(0.0, 0.0), columns=20, rows=16, pitch_mm=6.0)
    made = places(Holes(diameter_mm=1.5, tolerance_mm=0.05, pattern=[pattern]))
    order = travel_order(made, START)
    assert length_mm(made, order, START) == pytest.approx(math.dist(START, made[0]) + 319 * 6.0)


def test_the_same_holes_give_the_same_order() -> None:
    points = [(float(i * 37 % 100), float(i * 61 % 100)) for i in range(100)]
    assert travel_order(points, START) == travel_order(points, START)


def test_a_random_cloud_comes_near_the_length_of_the_best_tour() -> None:
    """Best way through n random points in area A: 0.7124·√(n·A).

    Beardwood, Halton & Hammersley 1959, the constant from memory. 300 points in 100 × 100 mm: 1234 mm; the edges add
    some per cent, and the start lies outside.
    """
    points = [((i * 0.7548776662) % 1.0 * 100.0, (i * 0.5698402910) % 1.0 * 100.0) for i in range(300)]
    shuffled = sorted(points, key=lambda point: math.sin(point[0] * 12.9898 + point[1] * 78.233))
    length = length_mm(shuffled, travel_order(shuffled, START), START)
    assert 0.7124 * math.sqrt(300 * 1e4) < length < 1.5 * 0.7124 * math.sqrt(300 * 1e4)


@given(CLOUDS.filter(bool), st.tuples(COORDINATES, COORDINATES), st.floats(0.5, 60), st.floats(0.5, 120))
def test_cells_find_what_comparing_every_pair_finds(
    points: list[Point], point: Point, side: float, distance: float
) -> None:
    cells = Cells(points, side)
    assert cells.within(point, distance) == [n for n, p in enumerate(points) if math.dist(p, point) < distance]


@given(st.lists(st.tuples(COORDINATES, COORDINATES), min_size=1, max_size=7, unique=True))
def test_the_bound_is_never_above_the_best_of_all_orders(points: list[Point]) -> None:
    best = min(length_mm(points, order, START) for order in itertools.permutations(range(len(points))))
    assert least_mm(points, START) <= best + 1e-9


def test_on_a_line_the_bound_is_the_way_itself() -> None:
    points = [(float(x), -10.0) for x in range(0, 60, 10)]
    assert least_mm(points, START) == pytest.approx(length_mm(points, range(6), START))


@given(CLOUDS, st.floats(0, 60))
def test_spreading_heat_visits_every_hole_and_keeps_apart_while_it_can(points: list[Point], apart: float) -> None:
    order = spread_order(points, travel_order(points, START), apart)
    assert sorted(order) == list(range(len(points)))
    for at in range(len(order) - 1):
        step = math.dist(points[order[at]], points[order[at + 1]])
        assert step >= apart or all(math.dist(points[order[at]], points[rest]) < apart for rest in order[at + 1 :])
