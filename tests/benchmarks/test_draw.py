"""Drawn plants: every key, within what it allows, the same for the same seed."""

from __future__ import annotations

from math import log2
from typing import Literal, get_args, get_origin

import pytest

from sim.settings import load_plant
from tests.benchmarks.draw import GUESSES, RANGES, WIDEST, draw, keys, laws, strayed
from tests.benchmarks.score import TECHNOLOGY

DRAWN = [draw(11, number, TECHNOLOGY) for number in range(1, 41)]
ENTRIES = {drawn.number: {key: entry for key, _, entry in keys(drawn.plant)} for drawn in DRAWN}


def test_every_key_of_the_plant_is_drawn() -> None:
    """No key is the same on all of forty plants; new keys are found through the model."""
    for key, _, default in keys():
        entries = {ENTRIES[drawn.number][key] for drawn in DRAWN}
        assert entries != {default}, key
        assert len(entries) > 1, key


def test_numbers_stay_within_an_octave_or_their_range() -> None:
    """Half to twice the default, and geometry and water over workshop ranges."""
    for drawn in DRAWN:
        numbers = ENTRIES[drawn.number]
        for key, octaves in strayed(drawn.plant).items():
            if key in RANGES:
                assert RANGES[key][0] <= numbers[key] <= RANGES[key][1]
            elif key != "source.burning_v":  # kept below the open voltage
                assert abs(octaves) <= log2(WIDEST) + 1e-9 or isinstance(numbers[key], int), key


def test_every_law_is_drawn() -> None:
    """Forty plants meet every member of every law's family."""
    for key, field, _ in keys():
        if get_origin(field.annotation) is Literal:
            assert {laws(drawn.plant)[key] for drawn in DRAWN} == set(get_args(field.annotation))


def test_no_arc_burns_above_the_voltage_that_ignites_it() -> None:
    """A source that burned above its open voltage would be no source."""
    assert all(drawn.plant.source.burning_v < drawn.plant.source.open_v for drawn in DRAWN)


def test_the_technology_is_wrong_by_a_factor_and_does_not_say_so() -> None:
    """Guess and spread are off together."""
    for name in GUESSES:
        factors = [drawn.guessed[name] for drawn in DRAWN]
        assert 0.5 <= min(factors) < 0.8
        assert 1.25 < max(factors) <= 2.0
        figure, true = getattr(DRAWN[0].technology, name), getattr(TECHNOLOGY, name)
        assert figure.guess / true.guess == pytest.approx(factors[0])
        assert figure.u / figure.guess == pytest.approx(true.u / true.guess)


def test_the_same_seed_and_number_give_the_same_plant() -> None:
    """And others give others; number 0 is the default plant."""
    again = draw(11, 1, TECHNOLOGY)
    assert (again.plant, again.seed) == (DRAWN[0].plant, DRAWN[0].seed)
    assert draw(12, 1, TECHNOLOGY).plant != again.plant != DRAWN[1].plant
    assert draw(11, 0, TECHNOLOGY).plant == load_plant()
