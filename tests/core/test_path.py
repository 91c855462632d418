"""The slide along a path: whole useful moves, play taken up on reversal, and the tip that trails the axis."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.commands import Move
from controller.core.path import Plunge, Slide

PLAY_UM, STEP_UM = 40.0, 2.5
AT = Plunge(1_000.0, 2_000.0, -3_000.0)

forwards = st.tuples(st.just("forward"), st.floats(0.0, 60.0))
actions = st.lists(
    forwards
    | st.tuples(st.just("back"), st.floats(0.0, 300.0))
    | st.tuples(st.just("take_up"), st.just(0.0))
    | st.tuples(st.just("back_to"), st.floats(-200.0, 500.0)),
    max_size=40,
)


def slide() -> Slide:
    return Slide(AT, PLAY_UM, STEP_UM)


def act(on: Slide, action: tuple[str, float]) -> tuple[Move, ...]:
    name, um = action
    if name == "forward":
        return on.forward(um, 0)
    if name == "take_up":
        return on.take_up(1000.0)
    return on.back(um, 1000.0) if name == "back" else on.back_to(um, 1000.0)


def test_a_plunge_goes_straight_down() -> None:
    """Arc length is depth below the start, x and y stay."""
    assert AT.at(150.0) == (1_000.0, 2_000.0, -3_150.0)


@given(actions)
def test_the_tip_follows_a_backlash_gap(done: list[tuple[str, float]]) -> None:
    """The believed tip is that of a dead-zone play: it stands still while the axis is within the play behind it.

    Reference: the textbook backlash element, tip = min(max(tip, axis), axis + play), stepped through every move.
    """
    moving, tip = slide(), 0.0
    for action in done:
        act(moving, action)
        tip = min(max(tip, moving.axis_um), moving.axis_um + PLAY_UM)
        assert moving.tip_um == tip
        assert 0.0 <= moving.slack_um <= PLAY_UM


@given(actions)
def test_every_move_is_where_the_slide_says(done: list[tuple[str, float]]) -> None:
    """A move's target is the path at the slide's arc length, to the last digit; no move is lost or invented."""
    moving = slide()
    for action in done:
        before = moving.axis_um
        moves = act(moving, action)
        assert [(m.x_um, m.y_um, m.z_um) for m in moves] == ([AT.at(moving.axis_um)] if moves else [])
        assert moves or moving.axis_um == before


@given(actions)
def test_back_never_goes_forward_and_forward_never_back(done: list[tuple[str, float]]) -> None:
    """Whatever was done before, each verb moves the axis its own way, and only ways back are urgent."""
    moving = slide()
    for action in done:
        before = moving.axis_um
        moves = act(moving, action)
        if action[0].startswith("back"):
            assert moving.axis_um <= before
            assert [m.urgent for m in moves] == [True]
        else:
            assert moving.axis_um >= before
            assert not any(m.urgent for m in moves)


@given(st.lists(st.floats(0.0, 30.0), max_size=60))
def test_small_feeds_add_up_to_whole_useful_moves(feeds: list[float]) -> None:
    """What is sent is whole useful moves, and never more than one of them short of what was asked."""
    moving = slide()
    sent = [0.0]
    for feed in feeds:
        moving.forward(feed, 0)
        sent.append(moving.axis_um)
    assert all((b - a) / STEP_UM == pytest.approx(round((b - a) / STEP_UM), abs=1e-6) for a, b in pairwise(sent))
    assert -1e-6 <= sum(feeds) - moving.axis_um < STEP_UM + 1e-6


@given(st.floats(1.0, 300.0), st.floats(0.0, 500.0))
def test_a_lift_raises_the_tip_by_what_was_asked(lift_um: float, depth_um: float) -> None:
    """From rest after feeding, a lift raises the tip itself by the distance: the play comes on top, for the axis."""
    moving = slide()
    moving.forward(depth_um, 0)
    depth_um = moving.axis_um  # whole useful moves
    moving.back(lift_um, 5000.0)
    assert depth_um - moving.tip_um == pytest.approx(lift_um)
    assert depth_um - moving.axis_um == pytest.approx(lift_um + PLAY_UM)


@given(st.floats(0.7, 1.5), st.floats(1.0, 300.0))
def test_taking_up_never_pushes_the_tip(believed_over_true: float, lift_um: float) -> None:
    """Taken up fast is less than any true play down to 0.7 of the believed one: the true tip stands still."""
    true_play_um = PLAY_UM / believed_over_true
    moving = slide()
    moving.forward(100.0, 0)
    true_tip = 100.0
    for move in (moving.back(lift_um, 5000.0), moving.take_up(1000.0)):
        axis = AT.z_um - move[0].z_um
        lifted = true_tip
        true_tip = min(max(true_tip, axis), axis + true_play_um)
    assert true_tip <= lifted + 1e-9 or believed_over_true > 1.0 / 0.7


def test_a_board_that_is_behind_is_not_sent_more() -> None:
    """With two moves outstanding nothing is sent, and what was not sent then is not owed later.

    Source: three queued blocks delay a retract by 56 to 90 ms (wires.md, measured).
    """
    moving = slide()
    assert [moving.forward(10.0, 2) for _ in range(50)] == [()] * 50
    moving.forward(0.0, 0)
    assert moving.axis_um == STEP_UM


def test_after_a_halt_the_boards_account_counts() -> None:
    """A halted axis stands where the board says, and the next move starts from there."""
    moving = slide()
    moving.forward(100.0, 0)
    moving.halted_at(AT.z_um - 60.0)
    assert moving.axis_um == 60.0
    moving.forward(5.0, 0)
    assert moving.axis_um == 65.0
