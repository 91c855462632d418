"""Framing, whole steps and decimal words, and the trapezoid: the parts that both conventions stand on."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.link.grid import StepGrid, add, longest, share, subtract
from controller.link.lines import LINE_MOST, LineReader
from controller.link.profile import Profile

steps = st.tuples(*[st.integers(-200_000, 200_000)] * 3)


@pytest.mark.parametrize(
    ("received", "lines"),
    [
        (b"ok\r\n", ["ok"]),
        (b"ok\n", ["ok"]),
        (b"\r\n\r\nok\r\n", ["ok"]),
        (b"<Idle|MPos:0.000,0.000,0.000>\r\nok\r\n", ["<Idle|MPos:0.000,0.000,0.000>", "ok"]),
        (b"  ok  \r\n", ["ok"]),
        (b"o\xffk\r\n", ["ok"]),
        (b"x" * (LINE_MOST + 1) + b"\r\nok\r\n", ["ok"]),
        (b"not finished", []),
    ],
)
def test_lines_come_out_whole_byte_by_byte_and_with_a_trailing_rest(received: bytes, lines: list[str]) -> None:
    assert LineReader().feed(received) == lines
    bytewise = LineReader()
    assert [line for byte in received for line in bytewise.feed(bytes([byte]))] == lines
    trailing = LineReader()
    assert trailing.feed(received + (b"" if received.endswith(b"\n") else b"\n") + b"rest")[: len(lines)] == lines
    assert trailing.feed(b"\n")[-1] == "rest"


@given(st.binary(max_size=2000), st.integers(1, 50))
def test_after_any_bytes_the_next_line_is_read(rubbish: bytes, portion: int) -> None:
    reader = LineReader()
    for start in range(0, len(rubbish), portion):
        reader.feed(rubbish[start : start + portion])
    assert reader.feed(b"\nok\n")[-1] == "ok"


@given(steps, st.integers(1, 500))
def test_shares_add_up_and_none_is_smaller_than_it_must_be(whole: tuple[int, int, int], of: int) -> None:
    parts = [subtract(share(whole, part + 1, of), share(whole, part, of)) for part in range(of)]
    total = (0, 0, 0)
    for part in parts:
        total = add(total, part)
    assert total == whole
    assert min(longest(part) for part in parts) >= longest(whole) // of


@given(st.lists(st.integers(-3000, 3000), min_size=1, max_size=200), st.sampled_from([80.0, 266.667, 400.0, 3200.0]))
def test_what_the_words_say_adds_up_to_the_steps(ways: list[int], per_mm: float) -> None:
    """A board adds the decimals of all lines and rounds the sum: it must stand on the very step that is meant."""
    grid = StepGrid((80.0, 80.0, per_mm))
    place, told = 0, Decimal(0)
    for way in ways:
        words = grid.words((0, 0, place), (0, 0, place + way))
        assert (words == "") == (way == 0)
        told += Decimal(words[1:] or 0)
        place += way
        assert round(told * Decimal(per_mm)) == place


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        ((0, 0, 0), (0, 0, -1), "Z-0.0025"),
        ((0, 0, 0), (80, -8, 0), "X1 Y-0.1"),
        ((5, 5, 5), (5, 5, 5), ""),
        ((0, 0, 100), (0, 0, 4100), "Z10"),
    ],
)
def test_words_are_plain_decimals(start: tuple[int, int, int], end: tuple[int, int, int], words: str) -> None:
    assert StepGrid((80.0, 80.0, 400.0)).words(start, end) == words


def test_half_a_step_always_goes_the_same_way() -> None:
    """Noise of the arithmetic must not make a burst of 18 steps one of 17."""
    grid = StepGrid((80.0, 80.0, 400.0))
    assert grid.steps(0.0, 0.0, 1.25 - 1e-9) == grid.steps(0.0, 0.0, 1.25 + 1e-9) == (0, 0, 1)


def test_profile_of_textbook_cases() -> None:
    """Uniform acceleration: v²/2a to speed up; peak √(La) and time 2√(L/a) on a short way."""
    long = Profile(10_000.0, 1000.0, 10_000.0)
    assert long.duration_s == pytest.approx(0.1 + 9900.0 / 1000.0 + 0.1)
    assert long.way_um(0.1) == pytest.approx(50.0)
    short = Profile(25.0, 5000.0, 10_000.0)
    assert short.speed_um_s == pytest.approx(500.0)
    assert short.duration_s == pytest.approx(0.1)


@given(st.floats(1.0, 1e5), st.floats(10.0, 1e5), st.floats(1e3, 1e6), st.floats(0.0, 1.0))
def test_way_and_time_are_each_others_inverse(length_um: float, speed: float, acceleration: float, part: float) -> None:
    profile = Profile(length_um, speed, acceleration)
    way_um = part * length_um
    assert profile.way_um(profile.time_s(way_um)) == pytest.approx(way_um, abs=1e-6 * length_um)
    assert profile.way_um(profile.duration_s) == length_um
