"""The `status` convention against a stand-in: every habit of wires.md's section, one test each."""

from __future__ import annotations

import pytest

from controller.core.commands import Halt, Home, Move, Turn
from controller.core.observation import BoardState
from tests.link.stand_ins import Bench, StatusStandIn

HOME_UM = (1000.0, 1000.0, -1000.0)


@pytest.fixture
def bench() -> Bench:
    return Bench().connect().home()


def down(bench: Bench, um: float, *, speed_um_s: float = 5000.0, urgent: bool = False) -> None:
    """Order z this far below the home place."""
    x_um, y_um, z_um = HOME_UM
    bench.board.carry_out(Move(x_um, y_um, z_um - um, speed_um_s, urgent), bench.now_s)


def moves(bench: Bench) -> list[str]:
    return [line for line in bench.stand_in.lines if " G1 " in line]


def test_nothing_is_written_before_the_banner() -> None:
    """The port was opened, which resets the board: what is written then is lost or taken for a bootloader's."""
    bench = Bench()
    bench.board.start(0.0)
    bench.run(2.0)
    assert bench.stand_in.writes == []


def test_connect_lists_settings_then_unlocks_then_sets_the_modal_state() -> None:
    bench = Bench().connect()
    assert bench.stand_in.lines == ["$$", "$X", "G21 G91 G94"]
    assert (bench.board.state, bench.board.homed) == (BoardState.READY, False)


def test_a_board_that_was_not_reset_by_opening_the_port_is_reset_by_a_byte() -> None:
    bench = Bench()
    bench.board.start(0.0)
    assert bench.until(lambda: bench.board.connected, 8.0)
    assert bench.status.resets == 1


def test_a_silent_board_is_a_problem_with_a_remedy() -> None:
    bench = Bench()
    bench.to_board = lambda _: b""
    bench.board.start(0.0)
    bench.run(6.0)
    [problem] = bench.board.notebook.problems
    assert (problem.name, bench.board.connected) == ("board silent", False)
    assert "motion.port" in problem.remedy


def test_stray_errors_before_the_first_command_are_no_replies() -> None:
    """wires.md: ALARM, brackets, banner and stray errors before the first command are not replies."""
    bench = Bench()
    bench.board.start(0.0)
    bench.status.boot()
    for line in ("error:9", "error:2", "[MSG:'$H'|'$X' to unlock]"):
        bench.status.say(line)
    assert bench.until(lambda: bench.board.connected, 5.0)
    assert bench.notes()[:2] == ["stray reply: error:9", "stray reply: error:2"]


def test_a_late_second_banner_starts_the_introduction_again() -> None:
    bench = Bench()
    bench.board.start(0.0)
    bench.status.boot()
    assert bench.until(lambda: "$$" in bench.stand_in.lines, 2.0)
    bench.stand_in.said.clear()  # the reset took the answers with it
    bench.status.boot()
    assert bench.until(lambda: bench.board.connected, 5.0)
    assert bench.stand_in.lines[-3:] == ["$$", "$X", "G21 G91 G94"]


@pytest.mark.parametrize(
    ("number", "figure", "name", "remedy", "bars"),
    [
        (1, 25, "idle lock", "$1=255", False),
        (10, 0, "report mask", "$10=3", True),
        (102, 250.0, "steps per mm, z", "$102=400", True),
        (112, 500.0, "top feed, z", "$112=600", False),
        (122, 10.0, "acceleration, z", "$122=300", False),
        (130, 200.0, "travel, x", "$130=220", False),
    ],
)
def test_a_setting_that_must_hold_is_reported_by_name_with_its_remedy(
    number: int, figure: float, name: str, remedy: str, bars: bool
) -> None:
    """A board can be driven with all but wrong distances, so that the rest of the machine can be checked."""
    bench = Bench()
    bench.status.settings[number] = figure
    bench.board.start(0.0)
    bench.status.boot()
    bench.run(2.0)
    [problem] = bench.board.notebook.problems
    assert (problem.name, bench.board.connected, bench.board.connecting) == (name, not bars, False)
    assert remedy in problem.remedy
    assert f"{figure:g}" in problem.found
    if bars:
        assert bench.stand_in.lines == ["$$"], "a board that is set wrong is not unlocked"


def test_a_board_mended_and_reset_connects() -> None:
    bench = Bench()
    bench.status.settings[102] = 250.0
    bench.board.start(0.0)
    bench.status.boot()
    bench.run(2.0)
    assert not bench.board.connected
    bench.status.settings[102] = 400.0
    bench.status.boot()
    assert bench.until(lambda: bench.board.connected, 5.0)
    assert bench.board.notebook.problems == []


def test_homing_makes_the_home_place_of_the_machine_file(bench: Bench) -> None:
    """Whatever the board itself calls the place: this one stands at MPos -219, -219, -1."""
    assert bench.board.position_um == pytest.approx(HOME_UM)
    assert bench.stand_in.lines[-2:] == ["$H", "G21 G91 G94"]


def test_homing_that_fails_is_an_alarm_and_says_where_to_look() -> None:
    bench = Bench().connect()
    bench.status.home_answer = "error:5"
    bench.board.carry_out(Home(), bench.now_s)
    bench.run(1.0)
    assert (bench.board.state, bench.board.homed) == (BoardState.ALARM, False)
    assert "$22" in bench.notes()[-1]


def test_while_homing_the_board_is_not_polled() -> None:
    """It does not answer then (from memory), and silence is no loss."""
    bench = Bench().connect()
    bench.status.home_answer = ""
    bench.board.carry_out(Home(), bench.now_s)
    bench.run(0.1)
    asked = bench.status.asked
    bench.run(30.0)
    assert (bench.board.state, bench.status.asked) == (BoardState.HOMING, asked)


def test_a_halt_while_homing_resets_the_board() -> None:
    """Its position is not known yet, so nothing is lost; otherwise it would go on into whatever made the host halt."""
    bench = Bench().connect()
    bench.status.home_answer = ""
    bench.board.carry_out(Home(), bench.now_s)
    bench.run(0.1)
    bench.board.carry_out(Halt(), bench.now_s)
    bench.run(0.5)
    assert (bench.status.resets, bench.board.state) == (1, BoardState.LOST)


def test_a_small_move_is_one_relative_line_of_whole_steps_with_a_fast_feed_word(bench: Bench) -> None:
    """wires.md: short moves at a fast feed word, paced by the host's clock. 2.5 µm is one step at 400 steps/mm."""
    down(bench, 2.5)
    bench.run(0.1)
    assert moves(bench) == ["G91 G1 Z-0.0025 F300"]
    assert bench.z_um() == pytest.approx(-1002.5)


def test_targets_are_rounded_not_ways_so_nothing_accumulates(bench: Bench) -> None:
    for tenth in range(1, 101):
        down(bench, 0.7 * tenth)
        bench.run(0.02)
    assert bench.drained()
    assert bench.board.ledger.done[2] == round(-1.07 * 400)


def test_a_slow_speed_is_never_estimated_slower_than_the_board_steps(bench: Bench) -> None:
    """wires.md: slowest step rate about 30/s, so 30 steps take about a second whatever the feed word says."""
    down(bench, 75.0, speed_um_s=1.0)
    bench.look()
    assert bench.board.ledger.orders[0].profile.duration_s == pytest.approx(1.0, rel=0.01)


def test_a_long_move_is_written_in_pieces_a_little_ahead(bench: Bench) -> None:
    """What is written can't be recalled: 20 mm at 10 mm/s take 2 s, of which 0.2 s at most are on the board."""
    bench.status.moving = True
    down(bench, 20_000.0, speed_um_s=10_000.0)
    bench.run(1.0)
    ahead_s = bench.board.ledger.ahead_s(bench.now_s)
    assert 0.05 < ahead_s <= 0.2
    assert bench.drained() is False, "only the board's own word ends a long move"
    bench.status.moving = False
    assert bench.drained()
    assert bench.z_um() == pytest.approx(-21_000.0)


def test_a_halt_writes_no_more_and_keeps_the_position(bench: Bench) -> None:
    down(bench, 20_000.0, speed_um_s=10_000.0)
    bench.run(0.5)
    bench.board.carry_out(Halt(), bench.now_s)
    written = bench.board.ledger.sent
    assert bench.drained()
    assert bench.board.ledger.done == written
    assert bench.board.state is BoardState.READY
    assert bench.status.resets == 0


def test_a_retract_is_written_at_once_whatever_waits(bench: Bench) -> None:
    """Nothing may be queued ahead of it but what is already on the board."""
    down(bench, 20_000.0, speed_um_s=10_000.0)
    bench.run(0.5)
    place = bench.board.ledger.sent
    bench.board.carry_out(Move(1000.0, 1000.0, -1000.0, 5000.0, urgent=True), bench.now_s)
    written = bench.board.pending(bench.now_s)
    first = written.split(b"\n")[0]
    assert first.startswith(b"G91 G1 Z0.")
    assert bench.board.ledger.wanted == (80, 80, -400)
    bench.stand_in.take(written)
    assert bench.drained()
    assert place[2] < bench.board.ledger.done[2] == -400


def test_a_retract_has_room_in_the_ring_even_when_no_line_is_answered(bench: Bench) -> None:
    """Receive ring 128 bytes (wires.md): the last bytes are kept for a retract."""
    bench.status.mute = True
    for step in range(1, 40):
        down(bench, 2.5 * step)
        bench.look()
    unanswered = sum(len(line) + 1 for line in moves(bench))
    assert unanswered <= 127
    bench.board.carry_out(Move(1000.0, 1000.0, -1000.0, 5000.0, urgent=True), bench.now_s)
    retract = bench.board.pending(bench.now_s)
    assert retract.startswith(b"G91 G1 Z0.")
    assert unanswered + len(retract.replace(b"?", b"")) <= 127


def test_polls_are_at_most_fifty_a_second_and_only_while_it_matters(bench: Bench) -> None:
    bench.status.moving = True
    down(bench, 50_000.0, speed_um_s=10_000.0)
    asked = bench.status.asked
    bench.run(2.0)
    assert 60 <= bench.status.asked - asked <= 100
    bench.status.moving = False
    bench.drained()
    asked = bench.status.asked
    bench.run(2.0)
    assert bench.status.asked - asked <= 11


def test_a_line_never_exceeds_eighty_characters(bench: Bench) -> None:
    bench.board.carry_out(Move(219_000.0, 217_000.0, -89_000.0, 60_000.0), bench.now_s)
    bench.run(0.5)
    assert max(len(line) for line in bench.stand_in.lines) <= 80


def test_an_alarm_loses_position_and_orders(bench: Bench) -> None:
    down(bench, 10.0)
    bench.look()
    bench.status.say("ALARM:1")
    bench.look()
    board = bench.board
    assert (board.state, board.homed, board.ledger.known, board.queued) == (BoardState.ALARM, False, False, 0)
    down(bench, 20.0)
    before = len(moves(bench))
    bench.run(0.1)
    assert len(moves(bench)) == before


def test_an_alarm_is_no_reply(bench: Bench) -> None:
    """wires.md: a pin already triggered gives ALARM:4 and then ok; the ok answers the line, the alarm nothing."""
    bench.status.say("ALARM:4")
    bench.status.say("ok")
    bench.look()
    assert "stray reply: ok" in bench.notes()


def test_a_reset_by_itself_loses_the_position_and_the_modal_state_is_sent_again(bench: Bench) -> None:
    bench.status.lose_power()
    bench.status.locked = False
    bench.run(1.0)
    assert (bench.board.state, bench.board.homed, bench.board.ledger.known) == (BoardState.LOST, False, False)
    assert bench.stand_in.lines[-1] == "G21 G91 G94"


def test_after_a_reset_only_homing_leads_on(bench: Bench) -> None:
    bench.status.lose_power()
    bench.run(1.0)
    down(bench, 10.0)
    bench.run(0.1)
    assert moves(bench) == []
    bench.home()
    assert bench.board.ledger.known
    down(bench, 10.0)
    assert bench.drained()
    assert bench.z_um() == pytest.approx(-1010.0)


def test_an_emergency_stop_resets_at_once(bench: Bench) -> None:
    down(bench, 20_000.0)
    bench.run(0.2)
    bench.board.emergency_stop(bench.now_s)
    assert bench.board.pending(bench.now_s).startswith(b"\x18")
    assert (bench.board.state, bench.board.homed) == (BoardState.LOST, False)


def test_a_refused_move_is_taken_off_the_ledger(bench: Bench) -> None:
    bench.to_board = lambda written: written.replace(b"G1 Z", b"G7 Z")
    down(bench, 10.0)
    bench.run(0.1)
    bench.to_board = bytes
    assert bench.drained()
    assert bench.z_um() == pytest.approx(-1000.0)
    assert any("error:20" in note for note in bench.notes())
    down(bench, 10.0)
    assert bench.drained()
    assert bench.stand_in.steps()[2] == -404


def test_a_reply_lost_on_the_wire_does_not_stop_the_work(bench: Bench) -> None:
    bench.to_host = lambda said: said.replace(b"ok\r\n", b"")
    down(bench, 10.0)
    bench.run(0.05)
    bench.to_host = bytes
    assert bench.drained(3.0)
    assert bench.board.ledger.done[2] == -404
    assert any("lost on the wire" in note for note in bench.notes())


def test_a_line_lost_on_the_wire_is_found_by_the_boards_own_count(bench: Bench) -> None:
    bench.to_board = lambda written: b"" if b"G1" in written else written
    down(bench, 10.0)
    bench.run(0.05)
    bench.to_board = bytes
    assert bench.drained(3.0)
    assert bench.board.ledger.done[2] == bench.stand_in.steps()[2] + bench.board._origin[2] == -400


def test_a_stray_ok_only_counts_a_line_early(bench: Bench) -> None:
    bench.status.say("ok")
    bench.look()
    down(bench, 10.0)
    assert bench.drained()
    assert bench.board.ledger.done[2] == -404


def test_a_board_that_answers_no_more_is_lost(bench: Bench) -> None:
    bench.status.mute = True
    bench.run(1.5)
    assert (bench.board.state, bench.board.ledger.known) == (BoardState.LOST, False)


def test_a_board_on_hold_is_an_alarm(bench: Bench) -> None:
    bench.status.say("<Hold:0|MPos:0.000,0.000,0.000>")
    bench.look()
    assert bench.board.state is BoardState.ALARM


def test_a_full_buffer_count_does_not_mean_stopped(bench: Bench) -> None:
    """wires.md: only Idle does; a board found moving when all should be done keeps the move queued."""
    bench.status.moving = True
    down(bench, 2.5)
    bench.run(0.5)
    assert bench.board.queued == 1
    bench.status.moving = False
    assert bench.drained(0.1)


@pytest.mark.parametrize(("rev_min", "line"), [(120.0, "M3 S120"), (-60.0, "M4 S60"), (0.0, "M5")])
def test_the_spindle_turns_by_spindle_words(bench: Bench, rev_min: float, line: str) -> None:
    bench.board.carry_out(Turn(rev_min), bench.now_s)
    bench.run(0.05)
    assert bench.stand_in.lines[-1] == line


def test_a_spindle_line_keeps_its_place_behind_a_move_in_pieces(bench: Bench) -> None:
    """Spindle words wait for the queue on the board, so they must not get between the pieces of a lift."""
    down(bench, 5000.0, speed_um_s=10_000.0)
    bench.board.carry_out(Turn(0.0), bench.now_s)
    assert bench.drained()
    bench.run(0.05)
    assert bench.stand_in.lines[-1] == "M5"


def test_rubbish_is_noted_and_harmless(bench: Bench) -> None:
    bench.board.receive(b"\xff\x00<Idle|MPos:1,nan,2>\r\n$=\r\n<|>\r\nhello\r\nok ok\r\n", bench.now_s)
    assert bench.board.state is BoardState.READY
    down(bench, 10.0)
    assert bench.drained()
    assert isinstance(bench.stand_in, StatusStandIn)
