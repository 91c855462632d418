"""Virtual boards reckon in single precision, as stock firmware does; numpy's float32 (IEEE 754) says what it gives."""

from __future__ import annotations

import numpy as np

from sim.boards.status_block import Modal
from sim.boards.words import single

MOVES = 3000


def test_small_relative_moves_fall_short_together() -> None:
    modal, held = Modal((0.0, 0.0, -50.0)), np.float32(-50.0)
    for _ in range(MOVES):
        modal.at_mm = modal.read("G91 G1 Z-0.001875 F300").target_mm
        held += np.float32(-0.001875)
    assert modal.at_mm[2] == float(held)
    assert abs(modal.at_mm[2] - (-50.0 - MOVES * 0.001875)) > 0.001  # three steps of 0.3 µm and more


def test_a_number_that_is_held_is_held_as_it_is() -> None:
    assert single(single(-0.001875)) == single(-0.001875) == float(np.float32(-0.001875))
