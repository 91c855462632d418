"""What the virtual `ack` board says and does. Forms and traps: wires.md, unless said otherwise."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.boards.ack_settings import AckTiming
from tests.sim.boards.dialogue import Dialogue, ack_dialogue

LETTERS = st.sampled_from("GMXYZFSPN* ;")
NUMBERS = st.one_of(st.integers(-100, 450), st.floats(-10.0, 10.0).map(lambda number: round(number, 3)))
LINES = st.lists(st.tuples(LETTERS, NUMBERS), max_size=4).map(
    lambda words: "".join(f"{letter}{number}" for letter, number in words).encode() + b"\n"
)


def numbered(number: int, command: str) -> str:
    """A line with number and checksum: the XOR of everything before the star."""
    text = f"N{number} {command}"
    folded = 0
    for letter in text:
        folded ^= ord(letter)
    return f"{text}*{folded}"


def stands(bench: Dialogue) -> int:
    """Steps of z as the board counts them."""
    count = re.search(r"Z:(-?\d+)$", bench.ask("M114")[0])
    assert count is not None
    return int(count[1])


def test_start_is_said_at_every_restart() -> None:
    bench = ack_dialogue()
    bench.board.boot()
    bench.let(2.0)
    assert "start" in bench.said()[-3:]


def test_an_unknown_command_is_echoed_and_acknowledged_all_the_same() -> None:
    assert ack_dialogue().ask("G38.2 Z-5") == ['echo:Unknown command: "G38.2 Z-5"', "ok"]


def test_numbered_lines_with_a_right_checksum_are_taken() -> None:
    bench = ack_dialogue()
    assert bench.ask(numbered(0, "M110 N0")) == ["ok"]
    assert bench.ask(numbered(1, "G1 Z-0.1 F300")) == ["ok"]
    assert bench.ask(numbered(2, "M400")) == ["ok"]
    assert bench.z == -40


@pytest.mark.parametrize("wrong", ["N1 G1 Z-0.1 F300*0", "N1 G1 Z-0.1 F300", numbered(7, "G1 Z-0.1 F300")])
def test_a_wrong_line_is_asked_for_again_with_an_ok_of_its_own(wrong: str) -> None:
    bench = ack_dialogue()
    bench.ask(numbered(0, "M110 N0"))
    said = bench.ask(wrong)
    assert said[0].startswith("Error:")
    assert said[-2:] == ["Resend: 1", "ok"]
    assert bench.ask(numbered(1, "G1 Z-0.1 F300")) == ["ok"]
    bench.ask(numbered(2, "M400"))
    assert bench.z == -40


def test_lines_behind_a_wrong_one_are_thrown_away_or_asked_for_in_turn() -> None:
    bench = ack_dialogue()
    bench.ask(numbered(0, "M110 N0"))
    bench.write("N1 G1 Z-0.1 F300*0\n" + numbered(2, "G1 Z-0.1 F300") + "\n")
    bench.let(0.5)
    assert bench.z == 0


def test_a_storm_of_garbled_lines_ends_and_no_step_is_lost() -> None:
    bench = ack_dialogue()
    bench.ask(numbered(0, "M110 N0"))
    bench.board.intake.garble(5)
    tries = 0
    while "Resend: 1" in bench.ask(numbered(1, "G1 Z-0.1 F300")):
        tries += 1
    bench.ask(numbered(2, "M400"))
    assert (tries, bench.z) == (5, -40)


def test_some_boards_tell_line_and_room_with_every_ok() -> None:
    bench = ack_dialogue(timing=AckTiming(detailed_ok=True))
    bench.write(numbered(0, "M110 N0") + "\n" + numbered(1, "G1 Z-0.1 F300") + "\n")
    bench.let(0.05)
    assert bench.said()[-1] == "ok N1 P14 B4"


def test_five_lines_at_once_overrun_a_ring_that_four_do_not() -> None:
    bench = ack_dialogue()
    for _ in range(16):
        bench.write("G1 Z-1 F60\n")
        bench.let(0.02)
    line = "G1 X0.000 Y0.000 Z-1.0000 F60.000\n"
    bench.write(line * 3)
    bench.let(0.05)
    assert bench.board.intake.lost_bytes == 0
    bench.write(line * 7)
    bench.let(0.05)
    assert bench.board.intake.lost_bytes > 0


def test_back_pressure_shows_only_when_15_blocks_are_planned() -> None:
    bench = ack_dialogue()
    for _ in range(15):
        bench.ask("G1 Z-1 F60")
    before = len(bench.lines)
    bench.write("G1 Z-1\n")
    bench.let(0.3)
    assert len(bench.lines) == before


def test_a_board_that_is_busy_says_so_every_two_seconds() -> None:
    bench = ack_dialogue()
    bench.ask("G1 Z-5 F60")
    bench.write("M400\n")
    bench.let(4.5)
    assert bench.said()[-2:] == ["echo:busy: processing"] * 2


def test_an_unconnected_stop_cuts_moves_towards_it_to_nothing_with_ok() -> None:
    bench = ack_dialogue()
    bench.board.boot()
    bench.let(2.0)
    assert "z_min: TRIGGERED" in bench.ask("M119")
    bench.ask("M211 S0")
    bench.ask("G91")
    assert bench.ask("G1 Z-0.5 F300") == ["ok"]
    bench.ask("M400")
    assert bench.z == 0
    bench.ask("M121")
    bench.ask("G1 Z-0.5")
    bench.ask("M400")
    assert bench.z == -200


def test_soft_limits_clamp_before_homing() -> None:
    bench = ack_dialogue()
    bench.board.boot()
    bench.let(2.0)
    bench.ask("M121")
    bench.ask("G91")
    bench.ask("G1 Z2 F300")  # it boots at zero, the top of its travel
    bench.ask("M400")
    assert bench.z == 0
    bench.ask("M211 S0")
    bench.ask("G1 Z2")
    bench.ask("M400")
    assert bench.z == 800


def test_the_position_report_counts_steps_done() -> None:
    bench = ack_dialogue()
    bench.ask("G1 Z-0.5 F300")
    bench.ask("M400")
    assert stands(bench) == -200


def test_a_position_is_set_without_moving() -> None:
    bench = ack_dialogue()
    bench.ask("G92 Z7")
    assert bench.ask("M114")[0].startswith("X:0.00 Y:0.00 Z:7.00")
    assert bench.z == 0
    bench.ask("G90")
    bench.ask("G1 Z6.5 F300")
    bench.ask("M400")
    assert bench.z == -200


@pytest.mark.parametrize("line", ["G28 Z", "G28Z0", "G28 Z ; the top first"])
def test_homing_names_an_axis_with_or_without_a_number(line: str) -> None:
    # Bare axis letters are how such boards are told which axes to home: common practice, no source.
    bench = ack_dialogue()
    bench.drive.closed = (False, False, True)
    bench.write(line + "\n")
    bench.let(3.0)
    assert bench.said()[-1] == "ok"
    assert "Z:-1.00" in bench.ask("M114")[0]


def test_some_builds_restart_at_a_quick_stop() -> None:
    bench = ack_dialogue(timing=AckTiming(stop_resets=True))
    bench.ask("G1 Z-5 F300")
    bench.write("M410\n")
    bench.let(3.0)
    assert "start" in bench.said()[-3:]
    assert bench.ask("M114")[-1] == "ok"


def test_a_killed_board_says_nothing_any_more() -> None:
    bench = ack_dialogue()
    bench.ask("G1 Z-5 F300")
    bench.let(0.5)
    bench.write("M112\n")
    bench.let(0.1)
    at, said = bench.z, len(bench.lines)
    assert bench.said()[-1].startswith("Error:")
    bench.write("M114\n")
    bench.let(5.0)
    assert (bench.z, len(bench.lines)) == (at, said)


def test_outputs_act_when_parsed_not_in_step_with_motion() -> None:
    bench = ack_dialogue()
    bench.ask("G1 Z-5 F60")
    bench.ask("M42 P11 S255")
    assert bench.board.outputs == {11: 255.0}
    assert not bench.board.planner.empty


@given(st.lists(st.one_of(st.binary(max_size=40), LINES), max_size=20))
@settings(max_examples=100)
def test_no_bytes_upset_it_and_a_restart_brings_it_back(wires: list[bytes]) -> None:
    board = ack_dialogue().board
    for wire in wires:
        board.receive(wire)
        board.advance(board.now_s + 0.1)
    board.boot()
    assert b"start" in board.advance(board.now_s + 2.0)
    board.receive(b"M114\n")
    assert board.advance(board.now_s + 0.1).endswith(b"ok\r\n")


def test_settings_of_the_axes_are_told_when_no_axis_is_named() -> None:
    bench = ack_dialogue()
    assert bench.ask("M92") == ["echo:  M92 X80.00 Y80.00 Z400.00", "ok"]
    bench.ask("M92 Z3200")
    assert "Z3200.00" in bench.ask("M92")[0]
