"""Timing of the virtual `ack` board in virtual time.

Every figure without another source: wires.md (measured on stock boards at 400 steps/mm, without USB latency).
"""

from __future__ import annotations

import pytest

from tests.sim.boards.dialogue import Dialogue, ack_dialogue


def first_step_s(bench: Dialogue, lines: str) -> float:
    """End of what is written to the first step."""
    line_ends_s = bench.write(lines)
    at = bench.z
    return bench.until(lambda: bench.z != at) - line_ends_s


def test_a_first_move_waits_about_106_ms_in_an_empty_planner() -> None:
    assert first_step_s(ack_dialogue(), "G1 Z0.05 F600\n") == pytest.approx(0.106, abs=0.002)


@pytest.mark.parametrize("lines", ["G1 Z0.0175 F600\n" * 3, "G1 Z0.0175 F600\nG1 Z0.0175\nG1 Z0.0175\n"])
def test_the_same_retract_in_three_lines_and_one_write_starts_within_6_to_8_ms(lines: str) -> None:
    assert 0.006 <= first_step_s(ack_dialogue(), lines) <= 0.008


def test_two_lines_are_not_enough() -> None:
    assert first_step_s(ack_dialogue(), "G1 Z0.025 F600\nG1 Z0.025\n") > 0.100


@pytest.mark.parametrize("chance", [0.0, 0.5, 1.0])
def test_a_move_is_acknowledged_after_2_6_to_3_2_ms(chance: float) -> None:
    bench = ack_dialogue(uniform=chance)
    line_ends_s = bench.write("G1 Z0.05 F600\n")
    said = len(bench.first_byte_s)
    bench.until(lambda: len(bench.first_byte_s) > said)
    assert 0.0026 <= bench.first_byte_s[-1] - line_ends_s <= 0.00322  # watched every 20 us


@pytest.mark.parametrize(("way_mm", "lines_s"), [(0.010, 323.0), (0.020, 168.0)])
def test_streamed_lines_are_taken_at_the_measured_rate(way_mm: float, lines_s: float) -> None:
    # The page gives no feed; 20 um at 168 a second is 3.36 mm/s.
    bench = ack_dialogue()
    bench.ask("M205 B0")
    line = f"G1 Z-{way_mm} F201\n"
    sent = heard = 0
    began_s = 0.0
    before = len(bench.lines)
    while heard < 800:
        heard = len(bench.lines) - before
        began_s = bench.now_s if heard == 600 else began_s  # once the planner is full
        if sent - heard < 4:
            bench.write(line)
            sent += 1
        else:
            bench.let(0.0005)
    assert 200.0 / (bench.now_s - began_s) == pytest.approx(lines_s, rel=0.05)


def test_ok_means_queued_not_done() -> None:
    bench = ack_dialogue()
    bench.ask("G1 Z-0.5 F60")
    assert bench.z == 0
    bench.ask("M400")
    assert bench.z == -200


def test_moves_of_fewer_than_6_steps_are_swallowed_and_merged_into_the_next() -> None:
    bench = ack_dialogue()
    for expected in (0, 0, -6):  # 2 steps each
        assert bench.ask("G1 Z-0.005 F300") == ["ok"]
        bench.ask("M400")
        assert bench.z == expected


@pytest.mark.parametrize(("setting", "stretched"), [("", True), ("M205 B0", False), ("M205 Q0", False)])
def test_short_blocks_are_stretched_while_2_to_7_are_queued(setting: str, stretched: bool) -> None:
    bench = ack_dialogue(acceleration_mm_s2=5000.0)
    if setting:
        bench.ask(setting)
    bench.write("G1 Z-0.02 F600\n" * 4)
    began_s = bench.until(lambda: bench.z < 0)
    bench.stand()
    # Four blocks of 20 um at 10 mm/s last 2 ms each; stretched, the third takes 2 + 2 x 18 / 2 ms.
    assert (bench.now_s - began_s > 0.020) is stretched


def test_pacing_at_the_motion_rate_never_works_off_what_the_first_move_piled_up() -> None:
    # A retract then came 89 ms late; the page gives no pace. Here 20 um, which last 60 ms, are sent every 60 ms.
    bench = ack_dialogue(acceleration_mm_s2=5000.0)
    for _ in range(40):
        bench.write("G1 Z-0.02 F20\n")
        bench.let(0.060)
    bench.write("G1 Z-0.02 F20\n")
    bench.let(0.005)
    line_ends_s = bench.write("G1 Z0.02 F600\n" * 3)
    lowest = bench.z

    def reversed_now() -> bool:
        nonlocal lowest
        lowest = min(lowest, bench.z)
        return bench.z > lowest

    running_s = 0.060  # the block that runs in any case
    assert bench.until(reversed_now) - line_ends_s - running_s == pytest.approx(0.089, abs=0.015)


def test_the_slowest_rate_is_between_32_and_120_steps_a_second() -> None:
    bench = ack_dialogue()
    bench.write("G1 Z-0.1 F0.6\n" * 3)
    began_s = bench.until(lambda: bench.z < 0)
    bench.stand()
    assert 32.0 <= 120 / (bench.now_s - began_s) <= 120.0


def test_motion_is_possible_again_only_2_1_s_after_a_quick_stop() -> None:
    bench = ack_dialogue()
    bench.ask("G1 Z-5 F300")
    bench.let(0.5)
    bench.ask("M410")
    stopped_s, at = bench.now_s, bench.z
    bench.write("G1 Z0.02 F600\n" * 3)
    assert bench.until(lambda: bench.z != at) - stopped_s == pytest.approx(2.1, abs=0.02)


def test_motors_lose_their_current_after_two_idle_minutes_unless_told_otherwise() -> None:
    bench = ack_dialogue()
    bench.ask("G1 Z-0.1 F300")
    bench.ask("M400")
    bench.let(119.0)
    assert bench.drive.locked
    bench.let(2.0)
    assert not bench.drive.locked
    bench.ask("M84 S0")
    bench.ask("G1 Z-0.1")
    bench.let(300.0)
    assert bench.drive.locked
