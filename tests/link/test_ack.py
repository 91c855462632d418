"""The `ack` convention against a stand-in: every habit of wires.md's section, one test each."""

from __future__ import annotations

from functools import reduce
from operator import xor

import pytest

from controller.core.commands import Halt, Home, Move, Turn
from controller.core.observation import BoardState
from tests.link.stand_ins import Bench

HOME_UM = (1000.0, 1000.0, -1000.0)
BURST_UM = 18 / 3.2  # three lines of six steps at 3200 steps/mm


@pytest.fixture
def bench() -> Bench:
    return Bench("ack").connect().home()


def down(bench: Bench, um: float, *, speed_um_s: float = 5000.0, urgent: bool = False) -> None:
    """Order z this far below the home place."""
    x_um, y_um, z_um = HOME_UM
    bench.board.carry_out(Move(x_um, y_um, z_um - um, speed_um_s, urgent), bench.now_s)


def words(bench: Bench) -> list[str]:
    return [line.partition(" ")[2].partition("*")[0] for line in bench.stand_in.lines if line.startswith("N")]


def moves(bench: Bench) -> list[str]:
    return [line for line in words(bench) if line.startswith("G1")]


def test_connect_says_what_must_hold() -> None:
    """wires.md: relative, drivers never off, end stops off outside homing, no soft limits, no stretched blocks."""
    bench = Bench("ack").connect()
    assert "M110 N0" in bench.stand_in.lines
    assert words(bench)[:6] == ["G91", "M84 S0", "M121", "M211 S0", "M205 Q0", "M205 B0"]
    assert "M201 X500 Y500 Z300" in words(bench)
    assert "M203 X60 Y60 Z10" in words(bench)
    assert (bench.board.state, bench.board.homed) == (BoardState.READY, False)


def test_a_board_that_was_not_reset_by_opening_the_port_is_spoken_to() -> None:
    bench = Bench("ack")
    bench.board.start(0.0)
    bench.run(4.0)
    assert bench.stand_in.writes == []
    assert bench.until(lambda: bench.board.connected, 5.0)


def test_a_silent_board_is_a_problem_with_a_remedy() -> None:
    bench = Bench("ack")
    bench.to_board = lambda _: b""
    bench.board.start(0.0)
    bench.run(14.0)
    [problem] = bench.board.notebook.problems
    assert (problem.name, bench.board.connected) == ("board silent", False)


@pytest.mark.parametrize("command", ["M121", "M114", "G91"])
def test_an_unknown_command_that_is_relied_on_is_a_problem(command: str) -> None:
    """wires.md: `ok` follows unknown commands too, so "unknown command" is fatal for a command we rely on."""
    bench = Bench("ack")
    bench.ack.unknown = (command,)
    bench.board.start(0.0)
    bench.ack.boot()
    bench.run(3.0)
    assert not bench.board.connected
    assert bench.board.notebook.problems[0].name.startswith(command)


def test_a_board_that_can_t_be_told_to_keep_its_motors_on_can_be_checked_and_runs_no_job() -> None:
    """wires.md: steppers go off after 120 s idle unless `M84 S0` is taken; nothing tells the setting but the answer."""
    bench = Bench("ack")
    bench.ack.unknown = ("M84",)
    bench.board.start(0.0)
    bench.ack.boot()
    bench.run(3.0)
    [problem] = bench.board.notebook.problems
    assert (problem.name, problem.bars, bench.board.connected) == ("idle lock", False, True)


def test_soft_limits_and_block_time_may_be_left_out_of_the_firmware() -> None:
    bench = Bench("ack")
    bench.ack.unknown = ("M211", "M205 Q")
    bench.connect()
    assert [note for note in bench.notes() if "done without" in note]


def test_an_end_stop_that_reads_triggered_is_told() -> None:
    """wires.md: unconnected end-stop inputs read as triggered."""
    bench = Bench("ack")
    bench.ack.end_stop = "TRIGGERED"
    bench.connect()
    assert any("z_min: TRIGGERED" in note for note in bench.notes())


def test_every_line_carries_number_and_checksum(bench: Bench) -> None:
    """The XOR of everything before the asterisk (wires.md)."""
    numbers = []
    for line in [line for line in bench.stand_in.lines if line.startswith("N")]:
        before, _, told = line.rpartition("*")
        assert int(told) == reduce(xor, before.encode(), 0)
        numbers.append(int(before.split(" ")[0][1:]))
    assert numbers == list(range(1, len(numbers) + 1))


def test_homing_goes_z_first_and_makes_the_home_place_of_the_machine_file(bench: Bench) -> None:
    told = words(bench)
    assert told.index("G28 Z0") < told.index("G28 X0") < told.index("G28 Y0")
    assert told[told.index("G28 Y0") + 1] == "G91", "what must hold is said again"
    assert bench.board.position_um == pytest.approx(HOME_UM)


def test_the_smallest_burst_is_three_lines_of_six_steps_in_one_write(bench: Bench) -> None:
    """wires.md: fewer than 6 steps are swallowed, fewer than three lines wait 106 ms."""
    down(bench, BURST_UM)
    written = bench.look()
    assert written.count(b" G1 ") == 3
    assert moves(bench) == ["G1 Z-0.001875 F300"] * 3
    assert bench.drained()
    assert bench.z_um() == pytest.approx(-1000.0 - BURST_UM)


def test_a_retract_is_at_least_three_lines_in_one_write(bench: Bench) -> None:
    down(bench, 100.0)
    bench.drained()
    down(bench, 60.0, urgent=True)
    written = bench.look()
    assert written.count(b" G1 Z0.") == 3


def test_a_retract_too_short_to_start_at_once_goes_as_far_as_one_that_does(bench: Bench) -> None:
    down(bench, 100.0)
    bench.drained()
    place = bench.board.ledger.sent[2]
    down(bench, 98.0, urgent=True)
    assert bench.look().count(b" G1 Z0.001875") == 3
    assert bench.board.ledger.sent[2] - place == 18


def test_a_move_that_would_be_swallowed_waits_for_the_next(bench: Bench) -> None:
    down(bench, 1.0)
    bench.run(0.1)
    assert moves(bench) == []
    assert bench.board.queued == 0
    down(bench, 10.0)
    assert bench.drained()
    assert bench.ack.done[2] + bench.board._origin[2] == bench.board.ledger.done[2] == -3232


def test_no_line_is_ever_swallowed(bench: Bench) -> None:
    """Whatever is asked for, each line holds six steps of some axis."""
    for step in range(1, 60):
        down(bench, 3.1 * step)
        bench.run(0.02)
    assert bench.drained()
    for line in moves(bench):
        assert max(abs(float(word[1:])) * 3200 for word in line.split()[1:-1]) >= 5.999


def test_at_most_three_are_planned_and_four_unanswered(bench: Bench) -> None:
    """wires.md: command queue 4; in bursts of three lines, at most three planned."""
    bench.ack.mute = True
    for step in range(1, 10):
        down(bench, BURST_UM * step)
        bench.run(0.02)
    assert len(moves(bench)) == 3
    assert bench.board.ledger.planned(bench.now_s) <= 3


def test_a_second_burst_waits_until_the_first_is_done(bench: Bench) -> None:
    """Backlog trap (wires.md): what piles up ahead of a retract is never worked off."""
    down(bench, BURST_UM)
    bench.look()
    down(bench, 2 * BURST_UM)
    assert bench.look() == b""
    assert bench.board.queued == 2
    assert bench.drained()
    assert len(moves(bench)) == 6


def test_a_retract_does_not_wait_for_the_burst_before_it(bench: Bench) -> None:
    down(bench, 500.0)
    bench.look()
    bench.run(0.002)
    down(bench, 0.0, urgent=True)
    assert bench.look().count(b" G1 Z0.") == 3


def test_resend_carries_an_ok_of_its_own(bench: Bench) -> None:
    spoilt = iter([True])
    bench.to_board = lambda written: written.replace(b"Z-", b"Z+", 1) if next(spoilt, False) else written
    down(bench, 30.0)
    bench.run(0.2)
    assert bench.ack.wrong_lines
    assert bench.drained()
    assert bench.ack.done[2] + bench.board._origin[2] == bench.board.ledger.sent[2] == -3296
    assert len(bench.board._lines) == 0
    assert bench.board.state is BoardState.READY


def test_a_line_lost_on_the_wire_is_asked_for_again(bench: Bench) -> None:
    spoilt = iter([True])

    def lose_the_second(written: bytes) -> bytes:
        lines = written.split(b"\n")
        return b"\n".join(lines[:1] + lines[2:]) if len(lines) > 3 and next(spoilt, False) else written

    bench.to_board = lose_the_second
    down(bench, 30.0)
    bench.run(0.3)
    assert bench.drained()
    assert bench.ack.done[2] + bench.board._origin[2] == bench.board.ledger.sent[2] == -3296


def test_a_lost_ok_is_made_up_for_by_a_position_report(bench: Bench) -> None:
    spoilt = iter([True])
    bench.to_host = lambda said: said.replace(b"ok\r\n", b"", 1) if b"ok" in said and next(spoilt, False) else said
    down(bench, 30.0)
    assert bench.drained(3.0)
    assert any("lost on the wire" in note for note in bench.notes())
    assert bench.board.ledger.acknowledged == bench.board.ledger.sent


def test_an_ok_with_a_number_answers_all_up_to_it() -> None:
    bench = Bench("ack")
    bench.ack.advanced = True
    bench.connect().home()
    spoilt = iter([True])
    bench.to_host = lambda said: b"ok" + said.partition(b"ok")[2].partition(b"ok")[2] if next(spoilt, False) else said
    down(bench, 30.0)
    bench.run(0.05)
    assert bench.drained(1.0)
    assert bench.board.ledger.acknowledged == bench.board.ledger.sent


def test_keep_alive_is_no_silence(bench: Bench) -> None:
    bench.ack.mute = True
    down(bench, 30.0)
    for _ in range(3):
        bench.run(1.0)
        bench.ack.say("echo:busy: processing")
    assert bench.board.state is BoardState.READY
    bench.run(4.0)
    assert bench.board.state is BoardState.LOST


@pytest.mark.parametrize(
    "line", ["Error:Printer halted. kill() called!", "Error:Homing failed, system stopped, halted"]
)
def test_a_halted_board_is_an_alarm(bench: Bench, line: str) -> None:
    bench.ack.say(line)
    bench.look()
    assert (bench.board.state, bench.board.ledger.known) == (BoardState.ALARM, False)


def test_start_at_any_later_time_means_reset(bench: Bench) -> None:
    down(bench, 30.0)
    bench.look()
    bench.ack.boot()
    bench.run(2.0)
    assert (bench.board.state, bench.board.homed, bench.board.ledger.known) == (BoardState.LOST, False, False)
    assert words(bench).count("G91") == 3, "said at connect, after homing and after the reset"
    down(bench, 60.0)
    before = len(moves(bench))
    bench.run(0.1)
    assert len(moves(bench)) == before
    bench.home()
    down(bench, 30.0)
    assert bench.drained()
    assert bench.z_um() == pytest.approx(-1030.0)


def test_a_reset_nobody_saw_is_found_by_the_line_numbers(bench: Bench) -> None:
    for step in range(1, 20):
        down(bench, 2 * BURST_UM * step)
        bench.drained()
    bench.ack.boot()
    bench.stand_in.said.clear()
    down(bench, 500.0)
    bench.run(1.0)
    assert bench.board.state is BoardState.LOST
    assert bench.ack.done == (0, 0, 0), "the board counts from 1 and takes no line with a higher number"


def test_old_moves_are_never_sent_again_after_a_reset(bench: Bench) -> None:
    """A request to send again that is still open when the board starts anew asks for what is no longer true."""
    down(bench, 30.0)
    bench.run(0.1)
    bench.ack.say(f"Resend: {bench.ack.last - 1}")
    bench.ack.say("ok")
    bench.ack.boot()
    before = len(moves(bench))
    bench.run(2.0)
    assert bench.board.state is BoardState.LOST
    assert len(moves(bench)) == before


def test_wrong_steps_per_mm_show_at_the_first_way(bench: Bench) -> None:
    bench.stand_in.steps_per_mm = (80.0, 80.0, 400.0)
    down(bench, 2000.0)
    bench.run(3.0)
    assert bench.board.state is BoardState.LOST
    assert any("steps per mm" in note for note in bench.notes())


def test_a_halt_writes_no_more_and_keeps_the_position(bench: Bench) -> None:
    down(bench, 20_000.0, speed_um_s=10_000.0)
    bench.run(0.5)
    bench.board.carry_out(Halt(), bench.now_s)
    assert bench.drained()
    assert bench.board.ledger.done == bench.board.ledger.sent
    assert bench.ack.done[2] + bench.board._origin[2] == bench.board.ledger.sent[2]
    assert not any("M410" in line for line in bench.stand_in.lines)


def test_a_long_way_is_done_by_the_boards_own_count_only(bench: Bench) -> None:
    """M114 is asked at most five times a second until the end is near."""
    down(bench, 20_000.0, speed_um_s=10_000.0)
    before = words(bench).count("M114")
    bench.run(1.5)
    assert words(bench).count("M114") - before <= 8
    assert bench.drained()
    assert bench.z_um() == pytest.approx(-21_000.0)


def test_an_emergency_stop_is_a_quick_stop_and_the_position_is_lost(bench: Bench) -> None:
    down(bench, 20_000.0)
    bench.run(0.1)
    bench.board.emergency_stop(bench.now_s)
    assert bench.board.pending(bench.now_s) == b"M410\n"
    assert bench.board.state is BoardState.LOST


@pytest.mark.parametrize(("rev_min", "line"), [(120.0, "M106 S255"), (-60.0, "M106 S128"), (0.0, "M107")])
def test_the_spindle_hangs_on_a_scaled_output(bench: Bench, rev_min: float, line: str) -> None:
    bench.board.carry_out(Turn(rev_min), bench.now_s)
    bench.run(0.05)
    assert line in words(bench)


def test_a_halt_while_homing_is_a_kill_since_a_quick_stop_would_wait_for_its_end(bench: Bench) -> None:
    bench.ack.mute = True
    bench.board.carry_out(Home(), bench.now_s)
    bench.run(0.1)
    bench.board.carry_out(Halt(), bench.now_s)
    assert bench.look().endswith(b"M112\n")
    assert bench.board.state is BoardState.LOST


def test_homing_that_is_not_answered_fails(bench: Bench) -> None:
    bench.ack.mute = True
    bench.board.carry_out(Home(), bench.now_s)
    bench.run(171.0)
    assert (bench.board.state, bench.board.homed) == (BoardState.ALARM, False)


def test_rubbish_is_harmless(bench: Bench) -> None:
    bench.board.receive(b"\xff\x00Resend: x\nok?\nCount X:\n//action:none\nT:20 /0\n", bench.now_s)
    down(bench, 30.0)
    assert bench.drained()
    assert bench.board.state is BoardState.READY
