"""The axes: whole steps, lost motion, stick-slip, trapezoids, the board's queue and delays."""

from __future__ import annotations

import pytest

from controller.settings.machine import Axes as AxesBelief
from sim.axes import Axes
from sim.random import Streams
from sim.settings import AxesPlant, BoardPlant, load_plant

TICK_S = 0.01
STEP_UM = 2.5  # 400 steps/mm on z


def board(**changes: float) -> BoardPlant:
    return load_plant().board.model_copy(update=changes)


def plant(**changes: float) -> AxesPlant:
    return load_plant().axes.model_copy(update={"stick_slip_um": 0.0, "homing_repeat_um": 0.0, **changes})


def homed(ack: bool = False, belief: AxesBelief | None = None, **changes: float) -> Axes:
    """Axes that have just been homed, at machine time 200 s, their z play taken up downward."""
    axes = Axes(belief or AxesBelief(), plant(**changes), board(), ack, Streams(1).named("axes").uniform)
    axes.home(0.0)
    axes.advance(200.0)
    assert axes.homed
    return axes


def test_a_target_is_rounded_to_whole_steps_and_rounding_never_accumulates() -> None:
    axes = homed()
    axes.move(axes.x_um, axes.y_um, -5000.0, 10_000.0, 200.0)
    axes.advance(210.0)
    now_s = 210.0
    for n in range(1, 101):
        axes.move(axes.x_um, axes.y_um, -5000.0 - 1.1 * n, 1000.0, now_s)
        now_s += 1.0
        axes.advance(now_s)
        assert axes.z_um == round((-5000.0 - 1.1 * n) / STEP_UM) * STEP_UM
    assert abs(axes.z_um - (-5110.0)) <= STEP_UM / 2


def test_the_face_follows_a_reversal_only_after_the_lost_motion() -> None:
    axes = homed(backlash_um=40.0)
    now_s, faces_um = 200.0, list[float]()
    for z_um in (-5000.0, -4965.0, -4950.0, -4990.0, -4992.5):
        axes.move(axes.x_um, axes.y_um, z_um, 10_000.0, now_s)
        now_s += 2.0
        axes.advance(now_s)
        faces_um.append(axes.face_z_um - faces_um[0] if faces_um else axes.face_z_um)
    assert faces_um[0] == pytest.approx(-5000.0, abs=STEP_UM)
    assert faces_um[1:] == pytest.approx([0.0, 10.0, 10.0, 7.5])


def test_stick_slip_never_leaves_the_face_further_behind_than_its_bound() -> None:
    axes = homed(stick_slip_um=5.0, backlash_um=0.0)
    now_s, behind_um = 200.0, list[float]()
    for n in range(400):
        axes.move(axes.x_um, axes.y_um, -5000.0 - STEP_UM * n, 1000.0, now_s)
        now_s += TICK_S
        axes.advance(now_s)
        behind_um.append(abs(axes.face_z_um - axes.z_um))
    assert max(behind_um[2:]) <= 5.0
    assert max(behind_um[2:]) > 0.0


def test_the_slowest_axis_sets_the_speed_of_a_straight_line() -> None:
    axes = homed()
    x_um, z_um = axes.x_um, axes.z_um
    axes.move(x_um + 20_000.0, axes.y_um, z_um - 20_000.0, 1e9, 200.0)
    axes.advance(201.0)  # z may go 10 mm/s: after 1 s both have gone a little less than 10 mm
    assert z_um - axes.z_um == pytest.approx(axes.x_um - x_um, abs=12.5 + STEP_UM)
    assert 9000.0 < z_um - axes.z_um < 10_000.0


def test_an_idle_status_board_makes_the_first_step_after_its_delay() -> None:
    # wires.md: end of line to first step 2.5-2.8 ms.
    axes = homed()
    z_um = axes.z_um
    axes.move(axes.x_um, axes.y_um, z_um + STEP_UM, 5000.0, 200.0)
    axes.advance(200.00279)
    assert axes.z_um == z_um
    axes.advance(200.00281)
    assert axes.z_um == z_um + STEP_UM
    assert len(axes.blocks) == 1


def test_moves_run_in_the_order_sent_and_queued_counts_what_is_not_done() -> None:
    axes = homed()
    z_um = axes.z_um
    for n in range(1, 4):
        axes.move(axes.x_um, axes.y_um, z_um - 1000.0 * n, 10_000.0, 200.0)
    assert len(axes.blocks) == 3
    seen = []
    for n in range(60):
        axes.advance(200.0 + TICK_S * n)
        seen.append((axes.z_um, len(axes.blocks)))
    assert seen == sorted(seen, reverse=True)
    assert seen[-1] == (z_um - 3000.0, 0)


def test_a_retract_waits_for_the_running_block_only() -> None:
    # wires.md: one 1-step block outstanding, first reversed step after some 4.4 ms; with acceleration 300 here 5.8 ms.
    axes = homed()
    z_um = axes.z_um
    axes.move(axes.x_um, axes.y_um, z_um - STEP_UM, 5000.0, 200.0)
    axes.advance(200.0030)
    assert axes.z_um == z_um - STEP_UM
    axes.move(axes.x_um, axes.y_um, z_um + 100.0, 5000.0, 200.0030)
    axes.advance(200.0030 + 0.0058)
    assert axes.z_um > z_um - STEP_UM


def test_halt_brakes_drops_the_queue_and_keeps_the_position() -> None:
    axes = homed()
    z_um = axes.z_um
    for n in (1, 2):
        axes.move(axes.x_um, axes.y_um, z_um - 20_000.0 * n, 10_000.0, 200.0)
    axes.advance(200.5)
    axes.halt(200.5)
    axes.advance(201.0)
    # 10 mm/s at 300 mm/s2: 0.17 mm of braking (v^2/2a) behind the 2.8 ms of the board's delay.
    stood_um = axes.z_um
    assert len(axes.blocks) == 0
    assert axes.homed
    assert 4900.0 < z_um - stood_um < 5300.0
    axes.advance(205.0)
    assert axes.z_um == stood_um
    axes.move(axes.x_um, axes.y_um, stood_um - 1000.0, 10_000.0, 205.0)
    axes.advance(206.0)
    assert axes.z_um == round((stood_um - 1000.0) / STEP_UM) * STEP_UM


def test_a_slow_feed_word_runs_at_the_slowest_step_rate() -> None:
    # wires.md: at 400 steps/mm anything slower than about 76 um/s runs at about 76 um/s.
    axes = homed()
    axes.move(axes.x_um, axes.y_um, axes.z_um - 750.0, 1.0, 200.0)
    axes.advance(211.0)
    assert len(axes.blocks) == 0


def test_nothing_is_known_before_homing_and_homing_takes_its_time() -> None:
    axes = Axes(AxesBelief(), plant(), board(), False, Streams(5).named("axes").uniform)
    assert not axes.homed
    assert (axes.x_um, axes.y_um, axes.z_um) == (0.0, 0.0, 0.0)
    assert axes.face_um != (0.0, 0.0, 0.0)
    axes.home(0.0)
    axes.advance(2.0)
    assert axes.homing
    assert not axes.homed
    axes.advance(120.0)
    assert axes.homed
    assert (axes.x_um, axes.y_um, axes.z_um) == (1000.0, 1000.0, -1000.0)
    assert axes.face_z_um == pytest.approx(-1000.0, abs=STEP_UM)


def test_driving_into_a_hard_end_loses_steps() -> None:
    axes = homed(backlash_um=0.0, end_room_mm=1.0)
    axes.move(axes.x_um, axes.y_um, 5000.0, 10_000.0, 200.0)
    axes.advance(210.0)
    assert axes.z_um == 5000.0  # what the board believes
    assert axes.face_z_um == pytest.approx(1000.0)  # where the end is
    axes.move(axes.x_um, axes.y_um, 0.0, 10_000.0, 210.0)
    axes.advance(220.0)
    assert axes.face_z_um == pytest.approx(-4000.0)


def test_an_ack_board_waits_long_for_a_lone_move_and_little_for_a_burst() -> None:
    # wires.md: a first move waits about 106 ms; three lines in one write start in 6-8 ms.
    fine = AxesBelief(steps_per_mm=(80.0, 80.0, 3200.0))
    lone, burst = homed(ack=True, belief=fine), homed(ack=True, belief=fine)
    z_um, step_um = lone.z_um, 1000.0 / 3200.0
    lone.move(lone.x_um, lone.y_um, z_um - 10 * step_um, 1000.0, 200.0)
    burst.move(burst.x_um, burst.y_um, z_um - 18 * step_um, 1000.0, 200.0)
    lone.advance(200.1)
    burst.advance(200.0085)
    assert lone.z_um == z_um
    assert burst.z_um < z_um
    lone.advance(200.12)
    assert lone.z_um < z_um


def test_an_ack_board_swallows_a_move_of_fewer_than_six_steps_into_the_next() -> None:
    # wires.md: moves of fewer than 6 steps are swallowed with an ok and merged into the next.
    axes = homed(ack=True, belief=AxesBelief(steps_per_mm=(80.0, 80.0, 3200.0)))
    z_um, step_um = axes.z_um, 1000.0 / 3200.0
    axes.move(axes.x_um, axes.y_um, z_um - 5 * step_um, 1000.0, 200.0)
    axes.advance(202.0)
    assert (axes.z_um, len(axes.blocks)) == (z_um, 0)
    axes.move(axes.x_um, axes.y_um, z_um - 10 * step_um, 1000.0, 202.0)
    axes.advance(204.0)
    assert axes.z_um == z_um - 10 * step_um


def test_the_hard_wired_stop_freezes_the_axes_and_loses_the_position() -> None:
    axes = homed()
    axes.move(axes.x_um, axes.y_um, -50_000.0, 10_000.0, 200.0)
    axes.advance(201.0)
    axes.cut_power()
    stood_um = axes.face_z_um
    axes.move(axes.x_um, axes.y_um, -1000.0, 10_000.0, 201.0)
    axes.advance(210.0)
    assert axes.face_z_um == stood_um
    assert not axes.homed
