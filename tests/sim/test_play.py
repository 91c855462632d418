"""Lost motion and stick-slip."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from sim.play import Play

MOTORS_UM = st.lists(st.floats(-500.0, 500.0), min_size=1, max_size=60)


def test_a_sticking_face_stays_until_the_drag_reaches_its_break_away_and_then_catches_up_whole() -> None:
    play = Play(0.0, 0.0, lambda: 6.0, 0.0)
    assert [play.follow(-2.5 * n) for n in range(1, 7)] == [0.0, 0.0, -7.5, -7.5, -7.5, -15.0]


@given(MOTORS_UM, st.floats(0.0, 60.0), st.floats(0.0, 10.0))
def test_the_face_is_never_further_behind_than_lost_motion_and_break_away(
    motors_um: list[float], lost_um: float, stick_um: float
) -> None:
    play = Play(lost_um, 0.0, lambda: stick_um, 0.0)
    for motor_um in motors_um:
        face_um = play.follow(motor_um)
        assert motor_um - lost_um - stick_um - 1e-9 <= face_um <= motor_um + stick_um + 1e-9


@given(MOTORS_UM, st.floats(0.0, 60.0))
def test_without_friction_only_a_motor_outside_the_dead_band_moves_the_face(
    motors_um: list[float], lost_um: float
) -> None:
    play = Play(lost_um, 0.0, lambda: 0.0, 0.0)
    for motor_um in motors_um:
        before_um = play.face_um
        inside = motor_um - lost_um <= before_um <= motor_um
        assert (play.follow(motor_um) == before_um) or not inside
