"""A million random bytes into each parser; `make fuzz` does a hundred times as many."""

from __future__ import annotations

import pytest

from tests.link.fuzz import TARGETS, fuzz

BYTES = 1_000_000


@pytest.mark.parametrize("name", TARGETS)
def test_no_exception_and_the_next_good_frame_is_decoded(name: str) -> None:
    assert fuzz(TARGETS[name](), BYTES, seed=20) >= BYTES
