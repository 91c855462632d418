"""What the virtual `status` board says and refuses. Figures and forms: wires.md, unless said otherwise."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.settings.machine import Axes
from sim.boards.board import home_switches
from sim.boards.drive import NoDrive
from sim.boards.status import StatusBoard
from sim.boards.status_settings import StatusSettings, StatusTiming
from tests.sim.boards.dialogue import Dialogue, status_dialogue

LETTERS = st.sampled_from("GMXYZFSPN$=?!~ ")
LINES = st.lists(st.tuples(LETTERS, st.integers(-100, 200)), max_size=4).map(
    lambda words: "".join(f"{letter}{number}" for letter, number in words).encode() + b"\n"
)

REPORT = re.compile(
    r"<(?P<state>\w+(:\d)?)\|MPos:-?\d+\.\d{3},-?\d+\.\d{3},-?\d+\.\d{3}\|Bf:(?P<blocks>\d+),(?P<bytes>\d+)\|FS:\d+,\d+"
    r"(\|Pn:[PXYZ]+)?(\|WCO:[-\d.,]+)?>"
)


def report(bench: Dialogue) -> str:
    said = len(bench.lines)
    bench.write("?")
    bench.until(lambda: any(line.startswith("<") for _, line in bench.lines[said:]))
    return bench.lines[-1][1]


def test_after_the_banner_a_board_with_homing_is_locked_until_told_otherwise() -> None:
    bench = status_dialogue()
    bench.board.boot()
    bench.let(2.0)
    assert bench.said()[-3:] == ["Status 1.1 ['$' for help]", "[MSG:'$H'|'$X' to unlock]", "error:1"]
    assert bench.ask("G0Z-1") == ["error:9"]
    assert bench.ask("$X") == ["[MSG:Caution: Unlocked]", "ok"]


def test_a_report_has_its_fields_in_their_order() -> None:
    assert REPORT.fullmatch(report(status_dialogue()))


def test_every_line_gets_exactly_one_reply_whatever_it_is() -> None:
    bench = status_dialogue()
    lines = ["G1Z-0.01F300", "", "=5", "G2X1", "M30", "G1Z", "$7777=1", "$$", "G4P0", "G91", "(a remark)"]
    before = len(bench.lines)
    for line in lines:
        bench.ask(line)
    replies = [said for _, said in bench.lines[before:] if said.startswith(("ok", "error"))]
    assert len(replies) == len(lines)
    assert replies[2:6] == ["error:1", "error:20", "error:20", "error:2"]


def test_real_time_bytes_never_count_as_lines_and_may_stand_inside_one() -> None:
    bench = status_dialogue()
    before = len(bench.lines)
    bench.write("G1Z-0.?01F~300\n")
    bench.let(0.1)
    new = [said for _, said in bench.lines[before:]]
    assert [said for said in new if said == "ok"] == ["ok"]
    assert len([said for said in new if REPORT.fullmatch(said)]) == 1
    assert bench.z == -4


def test_a_feed_is_needed_after_every_reset() -> None:
    bench = status_dialogue()
    assert bench.ask("G1Z-0.01") == ["error:22"]


def test_a_line_of_more_than_80_characters_is_refused() -> None:
    assert status_dialogue().ask("G1Z-0." + "0" * 80 + "F300") == ["error:11"]


def test_bytes_beyond_the_ring_are_lost() -> None:
    bench = status_dialogue()
    for _ in range(15):
        bench.ask("G1Z-1F60")
    bench.write("G1Z-1F60\n" * 2)  # the planner is full: the first of these waits in the parser
    bench.let(0.1)
    before = bench.said().count("ok")
    bench.write("G1Z-1F60\n" * 40)
    bench.board.planner.drop()
    bench.let(3.0)
    heard = bench.said().count("ok") - before
    assert 0 < heard < 30


def test_a_full_free_count_does_not_mean_stopped() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-0.01F600")
    bench.let(0.004)
    said = REPORT.fullmatch(report(bench))
    assert said is not None
    assert (said["state"], said["blocks"]) == ("Run", "15")


def test_a_zero_dwell_is_answered_only_when_the_motors_stand() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-1F300")
    bench.ask("G4P0")
    assert bench.board.planner.empty
    assert bench.z == -400


def test_moves_of_less_than_a_step_add_up_exactly() -> None:
    bench = status_dialogue()
    for _ in range(100):
        bench.ask("G1Z-0.001F300")
    bench.stand()
    assert bench.z == -40


def test_the_fraction_of_a_step_is_lost_on_a_reset() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-0.001F300")
    bench.write(b"\x18")
    bench.let(0.1)
    bench.ask("G91")
    bench.ask("G1Z-0.001F300")
    bench.stand()
    assert bench.z == 0


def test_modal_state_and_offset_are_lost_at_a_reset() -> None:
    bench = status_dialogue()
    bench.ask("G92Z5")
    assert "WCO:0.000,0.000,-5.000" in report(bench)
    bench.write(b"\x18")
    bench.let(0.1)
    assert "WCO:0.000,0.000,0.000" in report(bench)
    bench.ask("G1Z-1F600")
    bench.stand()
    bench.ask("G1Z-1F600")  # absolute again: already there
    bench.stand()
    assert bench.z == -400


def test_settings_are_written_only_when_nothing_moves() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-1F300")
    assert bench.ask("$1=25") == ["error:8"]
    bench.stand()
    assert bench.ask("$1=25") == ["ok"]
    assert "$1=25" in bench.ask("$$")


def test_settings_outlive_a_reset() -> None:
    bench = status_dialogue()
    bench.ask("$112=300")
    bench.board.boot()
    bench.let(2.0)
    assert "$112=300.000" in bench.ask("$$")


def test_the_idle_lock_lets_the_motors_go_when_the_queue_runs_dry() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-0.1F300")
    bench.stand()
    bench.let(1.0)
    assert bench.drive.locked
    bench.ask("$1=25")
    bench.ask("G1Z-0.1F300")
    bench.stand()
    stood_s = bench.now_s
    assert bench.until(lambda: not bench.drive.locked) - stood_s == pytest.approx(0.025, abs=0.002)


def test_a_probe_that_meets_the_plate_says_where_and_overshoots_as_a_hold_does() -> None:
    bench = status_dialogue()
    bench.write("G38.2Z-2F60\n")
    bench.until(lambda: bench.z == -100)
    bench.drive.probe = True
    bench.until(lambda: bench.lines[-2][1].startswith("[PRB"))
    met = re.fullmatch(r"\[PRB:0.000,0.000,(-\d\.\d{3}):1\]", bench.lines[-2][1])
    assert met is not None
    assert float(met[1]) == pytest.approx(-0.25, abs=0.01)
    assert -140 < bench.z < -105


def test_a_probe_already_closed_gives_an_alarm_and_then_ok() -> None:
    bench = status_dialogue()
    bench.drive.probe = True
    assert bench.ask("G38.2Z-2F60") == ["ALARM:4", "ok"]
    assert report(bench).startswith("<Alarm")


def test_homing_that_finds_no_switch_ends_in_an_alarm() -> None:
    bench = status_dialogue()
    bench.write("$H\n")
    bench.let(60.0)
    assert bench.said()[-2:] == ["ALARM:9", "ok"]


def test_a_cancelled_jog_forgets_what_was_left_of_it() -> None:
    bench = status_dialogue()
    bench.ask("$J=G91Z-5F120")
    bench.let(0.2)
    assert report(bench).startswith("<Jog")
    bench.write(b"\x85")
    bench.stand()
    at = bench.z
    bench.ask("G1Z-0.01F300")
    bench.stand()
    assert bench.z == at - 4


def test_a_hold_goes_on_where_it_stood() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-1F120")
    bench.let(0.1)
    bench.write("!")
    bench.let(0.2)
    assert report(bench).startswith("<Hold:0")
    bench.write("~")
    bench.stand()
    assert bench.z == -400


def test_spindle_words_turn_it_once_the_motors_stand() -> None:
    bench = status_dialogue()
    bench.ask("G1Z-0.1F300")
    bench.ask("M3S120")
    assert bench.board.planner.empty
    assert bench.drive.rev_min == 120.0
    bench.ask("M5")
    assert bench.drive.rev_min == 0.0


@given(st.lists(st.one_of(st.binary(max_size=40), LINES), max_size=20))
@settings(max_examples=100)
def test_no_bytes_upset_it_and_a_reset_brings_it_back(wires: list[bytes]) -> None:
    board = StatusBoard(StatusTiming(), StatusSettings.fitting(Axes(), home_switches(Axes(), 5.0)), NoDrive())
    board.boot()
    board.advance(2.0)
    for wire in wires:
        board.receive(wire)
        board.advance(board.now_s + 0.1)
    board.receive(b"\x18")
    assert b"for help" in board.advance(board.now_s + 1.0)
    board.receive(b"$X\n")
    assert board.advance(board.now_s + 0.1).endswith(b"ok\r\n")


def test_any_pieces_of_a_stream_give_the_same_bytes_back() -> None:
    wire = b"G21G91\nG1Z-0.02F300\n?G1Z0.01\n$$\n!~?"

    def answers(pieces: list[bytes]) -> bytes:
        board = StatusBoard(StatusTiming(), StatusSettings.fitting(Axes(), home_switches(Axes(), 5.0)), NoDrive())
        board.boot()
        board.advance(2.0)
        for piece in pieces:
            board.receive(piece)
        return board.advance(4.0)

    assert answers([wire]) == answers([bytes((byte,)) for byte in wire])
