"""The drawn observations themselves keep the seam's contract, so that a failing property blames the core."""

from __future__ import annotations

from dataclasses import fields
from itertools import pairwise
from math import isfinite

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.observation import BoardState, Observation
from tests.properties.observations import (
    AXIS_UM_PER_TICK,
    SPOILABLE,
    Upset,
    any_sequence,
    hostile,
    plausible,
    spoil,
    upsets,
)


@given(any_sequence(episodes=4))
def test_times_rise_and_every_reading_is_one_that_the_wires_can_carry(sequence: list[Observation]) -> None:
    """Ten bits, finite numbers, a known board state, and time that goes forward."""
    assert all(before.time_s < after.time_s for before, after in pairwise(sequence))
    for seen in sequence:
        assert all(isinstance(count, int) and 0 <= count <= 1023 for count in seen.samples)
        assert all(isfinite(number) for number in (seen.x_um, seen.y_um, seen.z_um, seen.sampler_age_s, seen.time_s))
        assert seen.queued >= 0
        assert isinstance(seen.board, BoardState)


@given(plausible(episodes=4))
def test_plausible_axes_never_outrun_the_machine(sequence: list[Observation]) -> None:
    """From tick to tick no axis moves further than its top speed takes it."""
    for before, after in pairwise(sequence):
        moved = (after.x_um - before.x_um, after.y_um - before.y_um, after.z_um - before.z_um)
        assert max(map(abs, moved)) <= AXIS_UM_PER_TICK * (1 + 1e-9)


@given(hostile(episodes=2, longest=12), upsets(within_ticks=20, most=3, longest=10))
def test_an_upset_changes_only_its_own_field_and_only_while_it_is_on(
    sequence: list[Observation], drawn: list[Upset]
) -> None:
    """Outside its ticks nothing is touched, inside them only the named field, and the original stays as it was."""
    for tick, seen in enumerate(sequence):
        spoilt = spoil(seen, tick, drawn)
        on = {upset.field for upset in drawn if upset.spoils(tick)}
        changed = {field.name for field in fields(seen) if getattr(seen, field.name) != getattr(spoilt, field.name)}
        assert changed <= on


def test_every_field_but_the_time_can_be_spoilt() -> None:
    """The list of fields that upsets reach is the observation's own, less the time, which is the loop's."""
    assert set(SPOILABLE) == {field.name for field in fields(Observation)} - {"time_s"}


@settings(max_examples=20)
@given(st.data())
def test_upsets_keep_to_the_fields_asked_for(draw: st.DataObject) -> None:
    """Asked for one field, only that one is spoilt."""
    name = draw.draw(st.sampled_from(SPOILABLE))
    assert all(upset.field == name for upset in draw.draw(upsets(within_ticks=10, fields=(name,))))
