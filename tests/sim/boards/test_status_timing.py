"""Timing of the virtual `status` board in virtual time.

Every figure without another source: wires.md (measured on stock boards at 400 steps/mm, without USB latency).
"""

from __future__ import annotations

import pytest

from tests.sim.boards.dialogue import BYTE_S, Dialogue, status_dialogue


def first_reversed_step_s(bench: Dialogue, retract: str = "G1Z0.05F600\n") -> float:
    """End of the retract's line to its first step up, whatever still goes down before it."""
    line_ends_s = bench.write(retract)
    lowest = bench.z

    def reversed_now() -> bool:
        nonlocal lowest
        lowest = min(lowest, bench.z)
        return bench.z > lowest

    return bench.until(reversed_now) - line_ends_s


@pytest.mark.parametrize("acceleration_mm_s2", [500.0, 1000.0, 2000.0])
def test_a_retract_of_an_idle_board_starts_within_2_5_to_2_8_ms(acceleration_mm_s2: float) -> None:
    assert 0.00245 <= first_reversed_step_s(status_dialogue(acceleration_mm_s2)) <= 0.0028


def test_a_soft_axis_starts_its_retract_within_6_to_7_ms() -> None:
    assert 0.006 <= first_reversed_step_s(status_dialogue(50.0)) <= 0.007


@pytest.mark.parametrize(("way_mm", "late_s"), [(0.0025, 0.0044), (0.010, 0.012)])
def test_a_retract_waits_for_the_one_block_outstanding(way_mm: float, late_s: float) -> None:
    # One step and four steps; the page gives no feed. At 1 mm/s such blocks last 4.5 and 12 ms, which fits both.
    bench = status_dialogue()
    bench.ask(f"G1Z-{way_mm}F60")
    bench.let(0.0005)  # what a host takes to answer
    assert first_reversed_step_s(bench) == pytest.approx(late_s, rel=0.1)


@pytest.mark.parametrize("acceleration_mm_s2", [60.0, 100.0])
def test_three_queued_blocks_of_10_um_delay_a_retract_by_56_to_90_ms(acceleration_mm_s2: float) -> None:
    # The page gives no feed and no acceleration; on a soft axis 30 um last that long.
    bench = status_dialogue(acceleration_mm_s2)
    bench.write("G1Z-0.01F600\nG1Z-0.01F600\nG1Z-0.01F600\n")
    bench.until(lambda: len(bench.lines) >= 5)
    assert 0.056 <= first_reversed_step_s(bench) <= 0.090


def test_eight_queued_blocks_of_5_um_at_a_slow_feed_delay_a_retract_by_half_a_second() -> None:
    bench = status_dialogue()
    bench.write("G1Z-0.005F1\n" * 8)
    bench.until(lambda: bench.said().count("ok") >= 10)
    assert first_reversed_step_s(bench) == pytest.approx(0.510, rel=0.05)


def test_a_slow_feed_silently_runs_at_about_30_steps_a_second() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-0.1F0.6")  # 10 um/s asked for
    began_s = bench.until(lambda: bench.z < 0)
    bench.stand()
    assert 0.1 / (bench.now_s - began_s) == pytest.approx(0.076, rel=0.05)


def test_a_move_is_acknowledged_1_2_ms_after_its_line() -> None:
    bench = status_dialogue()
    line_ends_s = bench.write("G1Z-0.01F600\n")
    said = len(bench.first_byte_s)
    bench.until(lambda: len(bench.first_byte_s) > said)
    assert bench.first_byte_s[-1] - line_ends_s == pytest.approx(0.0012, abs=0.0001)


@pytest.mark.parametrize(("way_mm", "lines_s"), [(0.0025, 440.0), (0.010, 340.0)])
def test_streamed_lines_are_taken_at_the_measured_rate(way_mm: float, lines_s: float) -> None:
    bench = status_dialogue(5000.0)
    line = f"G1Z-{way_mm}F900\n"
    before, sent, began_s = len(bench.lines), 0, bench.now_s
    while len(bench.lines) - before < 200:
        if sent - (len(bench.lines) - before) < 6:  # well inside the 128 bytes of the ring
            bench.write(line)
            sent += 1
        else:
            bench.let(0.0002)
    assert 200.0 / (bench.now_s - began_s) == pytest.approx(lines_s, rel=0.05)


def test_a_report_begins_0_2_ms_after_its_question_and_lasts_to_4_6_ms() -> None:
    bench = status_dialogue()
    bench.write("?")
    bench.let(0.02)
    asked_s = bench.now_s + BYTE_S
    bench.write("?")
    bench.another_line()
    assert bench.first_byte_s[-1] - asked_s == pytest.approx(0.0002, abs=0.00005)
    assert bench.lines[-1][0] - asked_s == pytest.approx(0.0046, rel=0.15)  # by the length of its figures


def poll_until(bench: Dialogue, state: str) -> None:
    """Ask for a report as soon as the last one has come, until it begins so."""
    while not bench.lines[-1][1].startswith(state):
        bench.write("?")
        bench.another_line()


def steps_after_cancel(bench: Dialogue, jog: str) -> tuple[float, int]:
    """Jog down, cancel, wait for Idle, jog up: the time to the first step up, and the steps still made forward."""
    bench.ask(jog)
    bench.let(0.2)
    at, cancelled_s = bench.z, bench.now_s
    bench.write(b"\x85")
    poll_until(bench, "<Idle")
    forward = at - bench.z
    first_reversed_step_s(bench, "$J=G91Z0.1F600\n")
    return bench.now_s - cancelled_s, forward


@pytest.mark.parametrize("feed", [100.0, 120.0])
def test_cancelling_a_jog_takes_51_to_107_ms_and_goes_on_for_8_to_55_steps(feed: float) -> None:
    took_s, forward = steps_after_cancel(status_dialogue(), f"$J=G91Z-5F{feed}")
    assert 0.051 <= took_s <= 0.107
    assert 8 <= forward <= 55


def test_hold_then_reset_lets_a_retract_start_after_68_to_81_ms() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-5F120")
    bench.let(0.2)
    held_s = bench.now_s
    bench.write("!")
    poll_until(bench, "<Hold:0")
    bench.write(b"\x18")
    bench.until(lambda: "for help" in bench.lines[-1][1])
    first_reversed_step_s(bench, "G21G91G1Z0.05F600\n")
    assert 0.068 <= bench.now_s - held_s <= 0.081


def test_a_reset_in_motion_costs_half_a_second_and_the_position() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-5F120")
    bench.let(0.2)
    reset_s = bench.now_s
    bench.write(b"\x18")
    bench.until(lambda: "unlock" in bench.lines[-1][1])
    assert "ALARM:3" in bench.said()
    bench.ask("$X")
    first_reversed_step_s(bench, "G21G91G1Z0.05F600\n")
    assert bench.now_s - reset_s == pytest.approx(0.508, abs=0.012)
