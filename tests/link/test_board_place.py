"""The board's own reckoning in single precision, held against numpy's float32 (an IEEE 754 arithmetic of its own)."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.link.board_place import BoardPlace, single
from controller.link.grid import StepGrid, Steps, add


class Firmware:
    """A board that adds relative moves in float32 and steps to the nearest whole step, as stock ones do."""

    def __init__(self, per_mm: tuple[float, float, float], steps: Steps) -> None:
        self._per_mm = np.array(per_mm, dtype=np.float32)
        self._mm = np.array(steps, dtype=np.float32) / self._per_mm

    def take(self, words: str) -> None:
        for letter, number in re.findall(r"([XYZ])(-?[0-9.]+)", words):
            self._mm["XYZ".index(letter)] += np.float32(number)

    @property
    def steps(self) -> Steps:
        x, y, z = np.rint(self._mm * self._per_mm)
        return int(x), int(y), int(z)


def drilled(per_mm: float, step: int, moves: int, *, made_up_for: bool) -> int:
    """Steps that the board is off after so many small moves down from 50 mm below its zero."""
    frame = (80.0, 80.0, per_mm)
    grid, begun = StepGrid(frame), (0, 0, round(-50.0 * per_mm))
    board, place = Firmware(frame, begun), BoardPlace(grid)
    place.stand(begun)
    at = begun
    for _ in range(moves):
        to = add(at, (0, 0, -step))
        words = place.words(at, to, (0, 0, 0)) if made_up_for else grid.words(at, to)
        place.told(words)
        board.take(words)
        at = to
    return abs(board.steps[2] - at[2])


@pytest.mark.parametrize(("per_mm", "step"), [(400.0, 1), (3200.0, 6), (3200.0, 7), (1600.0, 6)])
def test_ten_thousand_small_moves_end_where_they_should(per_mm: float, step: int) -> None:
    assert drilled(per_mm, step, 10_000, made_up_for=True) == 0


def test_without_reckoning_along_they_would_not() -> None:
    assert drilled(3200.0, 6, 10_000, made_up_for=False) > 10


WAYS = st.lists(st.tuples(*[st.integers(-2000, 2000)] * 2, st.integers(-40, 40)), min_size=1, max_size=60)


@given(WAYS, st.tuples(*[st.integers(-20_000, 20_000)] * 3), st.sampled_from([400.0, 1000.0, 3200.0]))
def test_any_way_from_any_place_steps_as_it_should_at_every_move(ways: list[Steps], origin: Steps, z: float) -> None:
    frame = (80.0, 80.0, z)
    board, place = Firmware(frame, (0, 0, 0)), BoardPlace(StepGrid(frame))
    place.stand((0, 0, 0))
    at = origin
    for way in ways:
        to = add(at, way)
        words = place.words(at, to, origin)
        place.told(words)
        board.take(words)
        at = to
        assert add(board.steps, origin) == at


def test_a_refused_line_is_taken_back() -> None:
    place = BoardPlace(StepGrid((80.0, 80.0, 400.0)))
    place.stand((0, 0, -20_000))
    place.told("Z-0.0025")
    place.refused("G91 G1 Z-0.0025 F300")
    assert place.words((0, 0, -20_000), (0, 0, -20_001), (0, 0, 0)) == "Z-0.0025"


@given(st.floats(-300.0, 300.0))
def test_single_precision_is_that_of_ieee_754(number: float) -> None:
    assert single(number) == float(np.float32(number))
