"""Frames from what was located, and the geometry of a tilted plate: against rotation matrices of numpy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.plan.frame import Frame
from controller.plan.work_frame import Feature, WorkFrame, frame_from
from controller.settings.job import Point

TURNS = st.floats(-180, 180)
SLOPES = st.floats(-0.06, 0.06)
PLACES = st.tuples(st.floats(-150, 150), st.floats(-150, 150))


@given(TURNS, SLOPES, SLOPES, PLACES, PLACES)
def test_distances_on_a_tilted_face_are_those_drawn(turn: float, b: float, c: float, p: Point, q: Point) -> None:
    frame = Frame((40.0, 50.0), turn, (b, c))
    (px, py), (qx, qy) = frame.to_machine(p), frame.to_machine(q)
    rise = b * (qx - px) + c * (qy - py)
    assert math.hypot(qx - px, qy - py, rise) == pytest.approx(math.dist(p, q), abs=1e-9)
    assert frame.to_job((px, py)) == pytest.approx(p, abs=1e-9)
    assert frame.rise_mm(p) == pytest.approx(b * (px - 40.0) + c * (py - 50.0), abs=1e-9)


@given(TURNS, SLOPES, SLOPES)
def test_the_axes_are_those_of_a_rotation_matrix(turn: float, b: float, c: float) -> None:
    normal = np.array([-b, -c, 1.0]) / math.sqrt(1.0 + b * b + c * c)
    along = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn)), 0.0])
    u = along - along @ normal / normal[2] * np.array([0.0, 0.0, 1.0])
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    frame = Frame((0.0, 0.0), turn, (b, c))
    assert frame.to_machine((1.0, 0.0)) == pytest.approx(tuple(u[:2]), abs=1e-12)
    assert frame.to_machine((0.0, 1.0)) == pytest.approx(tuple(v[:2]), abs=1e-12)


def test_three_degrees_bring_a_hole_a_seventh_of_a_millimetre_nearer() -> None:
    """100 mm · (1 − cos 3°) = 0.137 mm (trigonometry)."""
    x, _ = Frame((0.0, 0.0), 0.0, (math.tan(math.radians(3.0)), 0.0)).to_machine((100.0, 0.0))
    assert 100.0 - x == pytest.approx(0.137, abs=5e-4)


TRUE = Frame((52.0, 37.0), 12.0, (0.02, -0.03))


def feature(kind: str, at: Point, along: int = 0) -> Feature:
    x, y = TRUE.to_machine(at)
    ahead = TRUE.to_machine((at[0] + (along == 0), at[1] + (along == 1)))
    angle = math.degrees(math.atan2(ahead[1] - y, ahead[0] - x))
    return Feature(kind, at, along, x, y, (0.003, 0.004), angle, 0.002, (80.0, 60.0, -60.0), 0.008, TRUE.slope)


@pytest.mark.parametrize(
    "features",
    [
        [feature("corner", (0.0, 0.0))],
        [feature("corner", (5.0, 90.0))],
        [feature("bore", (10.0, 10.0)), feature("boss", (90.0, 40.0))],
        [feature("bore", (10.0, 10.0)), feature("edge", (0.0, 0.0), 0)],
        [feature("edge", (0.0, 0.0), 1), feature("boss", (10.0, 10.0))],
        [feature("plane", (0.0, 0.0)), feature("bore", (1.0, 1.0)), feature("corner", (0.0, 0.0))],
    ],
)
def test_whatever_was_located_the_frame_is_the_true_one(features: list[Feature]) -> None:
    found = frame_from(features)
    assert isinstance(found, WorkFrame)
    assert found.frame.origin_mm == pytest.approx(TRUE.origin_mm, abs=2e-5)
    assert found.frame.rotation_deg == pytest.approx(12.0, abs=1e-4)  # 3 µm over two metres
    rise = 0.02 * (52.0 - 80.0) - 0.03 * (37.0 - 60.0)
    assert found.height_mm == pytest.approx(-60.0 + rise, abs=1e-5)


def test_a_frame_knows_how_well_it_places_a_hole_far_away() -> None:
    found = frame_from([feature("corner", (0.0, 0.0))])
    assert isinstance(found, WorkFrame)
    turn = 100.0 * math.radians(0.002)
    assert found.u_at_mm((100.0, 0.0)) == pytest.approx(math.hypot(0.004, turn, 0.004))


@pytest.mark.parametrize(
    ("features", "words"),
    [
        ([], "nothing located"),
        ([feature("plane", (0.0, 0.0))], "plane located, which gives no frame: locate a corner"),
        ([feature("bore", (0.0, 0.0))], "bore located"),
        ([feature("bore", (0.0, 0.0)), feature("bore", (5.0, 0.0))], "stand within 10 mm"),
        ([feature("bore", (9.0, 0.0)), feature("bore", (9.0, 0.0))], "bore located"),
    ],
)
def test_what_gives_no_frame_says_what_is_missing(features: list[Feature], words: str) -> None:
    found = frame_from(features)
    assert isinstance(found, str)
    assert words in found
