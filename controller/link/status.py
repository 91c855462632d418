"""The `status` convention: one `ok` or `error:N` for every line, single bytes that act at once, reports on request.

All figures and habits: wires.md, "Motion board, `status` convention". Feed comes from the host's clock: relative moves
of whole steps at a fast feed word, each line with its own G91, so that a board that has just lost its modal state
still makes a small move of a small number. Polling (`?`) confirms and never decides.
"""

from __future__ import annotations

import re

from controller.core.observation import BoardState
from controller.link.board import AHEAD_S, DRAIN_S, HOME_S, MotionBoard
from controller.link.grid import Steps, add, subtract
from controller.link.ledger import Piece
from controller.link.outstanding import Line
from controller.link.procedure import Procedure
from controller.link.status_report import PRINTED_MM, Report, read_report
from controller.link.status_settings import check_settings, read_setting
from controller.settings.machine import Machine

RESET = b"\x18"
ASK = b"?"
MODALS = "G21 G91 G94"  # lost at every reset
UNLOCK, HOME_LINE, LIST = "$X", "$H", "$$"

# A banner looks like this whatever the board calls itself: the way to its help is in it (from memory).
_BANNER = re.compile(r".*\['\$.* for help\]")
_ERROR = re.compile(r"error:.*")
_ALARM = re.compile(r"ALARM:(\d+)")

# Opening the port resets most boards; bootloader and start take some 2 s (common practice, no source). A board that
# says nothing until then was not reset by the opening, and is reset by a byte.
BOOT_S, RESET_S = 3.0, 2.0
# Stray lines after the banner come at once (wires.md); the first command waits until this long nothing came. Chosen.
SETTLE_S = 0.2
SETTLE_MOST_S = 5.0
# A list of some 35 lines of 12 bytes takes 40 ms at 115200 baud; a slow writer a few times that. Chosen.
ANSWER_S = 2.0
# At most 50 a second (wires.md) while something is under way; at rest only to hear that the board is there (chosen).
POLL_BUSY_S, POLL_REST_S = 0.02, 0.2
# A report comes within 4.6 ms (wires.md): when two polls at rest brought none, the board is lost. Chosen.
SILENT_S = 0.5
REPORT_TRIES = 8  # for two reports alike, some of which may be spoilt; chosen
# A line's reply comes within 1.2 ms (wires.md) unless the planner is full, which it never is here: when the board
# stands and this time has passed, the reply itself was lost on the wire. Chosen.
REPLY_LATE_S = 0.5
# End of line to first step from rest, 2.5–2.8 ms (wires.md).
FIRST_STEP_S = 0.0028
# Bytes of the ring that only a retract may use, so that it never waits for room: a line of three axes with all
# decimals. Chosen so.
RESERVED_BYTES = 56
# Blocks planned at most: the planner holds 15 or 16 (from memory), a full one stops the replies. Chosen: half of it.
PLANNED_MOST = 8

MOVING = ("Run", "Jog", "Home")


class StatusBoard(MotionBoard):
    """A board of the `status` convention."""

    SLOWEST_STEPS_S = 30.0  # wires.md

    def __init__(self, machine: Machine) -> None:
        super().__init__(machine)
        self._settings: dict[int, float] = {}
        self._report: Report | None = None
        self._home_from: Report | None = None
        self._differed: Steps | None = None
        self._banners = 0
        self._reset_asked = False
        self._asked_s = -1e9
        self._asked_at_rest = False
        self._unanswered = 0

    def emergency_stop(self, time_s: float) -> None:
        """Reset at once: pulses stop on the spot, the position is lost."""
        self._clock.now_s = time_s
        self._fall(BoardState.LOST, "emergency stop: the board was reset, the position is lost")
        self._outbox += RESET

    # -- lines from the board -----------------------------------------------------------------------------------------

    def _take(self, line: str) -> None:
        if line == "ok":
            self._answered("ok")
        elif line.startswith("<"):
            self._reported(read_report(line))
        elif _ERROR.fullmatch(line):
            self._answered(line)
        elif _ALARM.fullmatch(line):
            homing = self.state is BoardState.HOMING
            self._fall(BoardState.ALARM, f"the board reports {line}")
            if homing:
                self._begin(self._find_sought())
        elif _BANNER.fullmatch(line):
            self._banner()
        elif line.startswith("$"):
            setting = read_setting(line)
            if setting is not None:
                self._settings[setting[0]] = setting[1]
        else:
            self._note(f"the board says: {line}")

    def _answered(self, reply: str) -> None:
        line = self._lines.answer(reply)
        if line is None:
            self._note(f"stray reply: {reply}")
            return
        if line.piece is None:
            return
        if reply == "ok":
            self.ledger.acknowledge(line.piece)
        else:
            self.ledger.refuse(line.piece)
            self._note(f"a move was refused with {reply}: {line.text}")

    def _banner(self) -> None:
        self._banners += 1
        self._report = None
        if self._reset_asked:
            self._reset_asked = False
            self._forget_lines()
            return
        if not self.connected:
            self._forget_lines()
            if self._banners > 1 or self._procedure is None:
                self._begin(self._after_banner())
            return
        self._fall(BoardState.LOST, "the board has reset by itself: its position is lost")
        self._begin(self._relearn())

    def _reported(self, report: Report | None) -> None:
        if report is None:
            self._note("a spoilt report")
            return
        self._report = report
        self._unanswered = 0
        if self.state is not BoardState.READY or not self.connected:
            return
        at_rest, self._asked_at_rest = self._asked_at_rest, False
        if report.state == "Idle":
            self._idle(report, at_rest)
        elif report.state not in MOVING:
            self._fall(BoardState.ALARM, f"the board stands in {report.state}")
        elif at_rest and not self.ledger.orders:
            self.ledger.late = True

    def _idle(self, report: Report, at_rest: bool) -> None:
        if at_rest:
            self._confirm(report)
        elif self._lines.age_s(self._asked_s) > REPLY_LATE_S and self._procedure is None:
            self._note(f"{len(self._lines)} replies were lost on the wire")
            while (line := self._lines.answer("ok")) is not None:
                if line.piece is not None:
                    # Was it the reply or the line itself? The board's count will tell.
                    line.piece.order.confirm = True
                    self.ledger.acknowledge(line.piece)

    def _confirm(self, report: Report) -> None:
        """The board stands and has answered everything: its own count is what has been done.

        A count that differs is believed when it is told twice: a digit may be spoilt on the wire.
        """
        ledger = self.ledger
        ledger.stands()
        if report.machine_mm is None or any(order.written for order in ledger.orders):
            return
        found = add(self._grid.from_mm(report.machine_mm), self._origin)
        before, self._differed = self._differed, None
        if self._means(found, ledger.sent):
            return
        if found != before:
            self._differed = found
            ledger.late = True
            return
        self._note(f"the board stands at {found} steps, not at {ledger.sent}: its count is taken")
        ledger.adopt(found)

    def _means(self, found: Steps, place: Steps) -> bool:
        """True when a printed place may be this one: print has fewer digits than a fine grid has steps."""
        apart = subtract(found, place)
        return all(abs(apart[axis]) <= self._grid.unsure_steps(axis, PRINTED_MM) for axis in range(3))

    # -- procedures ---------------------------------------------------------------------------------------------------

    def _connect(self) -> Procedure[None]:
        self._banners = 0
        if not (yield from self._clock.until(lambda: self._banners > 0, BOOT_S)):
            yield from self._reset_board()
        if not self._banners:
            self.notebook.object(
                "board silent",
                "no boot banner, neither after opening the port nor after a reset",
                "look at motion.port, motion.baud and motion.convention in the machine file, at cable and supply",
            )
            return
        yield from self._after_banner()

    def _after_banner(self) -> Procedure[None]:
        """Settings first: a board that is set wrong is not unlocked."""
        self.notebook.problems.clear()
        yield from self._quiet(SETTLE_S, SETTLE_MOST_S)
        self._settings.clear()
        answer = yield from self._ask(LIST, ANSWER_S)
        if answer != "ok":
            self._object_to(LIST, answer, "reset the board, then connect again")
            return
        self.notebook.problems.extend(check_settings(self._settings, self._machine))
        if self.notebook.barred:
            return
        if not (yield from self._made_ready()):
            return
        self.connected = True
        self.state = BoardState.READY

    def _made_ready(self) -> Procedure[bool]:
        """Unlock, set the modal state, take the board's own count; problems are put down."""
        for words in (UNLOCK, MODALS):
            answer = yield from self._ask(words, ANSWER_S)
            if answer != "ok":
                self._object_to(words, answer, "look at end switches, door and stop inputs of the board, then reset it")
                return False
        report = yield from self._fresh_report()
        if report is None or report.machine_mm is None:
            self._object_to("?", "no report with a machine position", "send $10=3 to the board")
            return False
        self.ledger.adopt(add(self._grid.from_mm(report.machine_mm), self._origin))
        return True

    def _relearn(self) -> Procedure[None]:
        """After a reset of its own: the modal state again. A board in its alarm refuses it, until it is homed."""
        yield from self._quiet(SETTLE_S, SETTLE_MOST_S)
        answer = yield from self._ask(MODALS, ANSWER_S)
        self._note(f"modal state sent again: {answer}")
        yield from self._find_sought()

    def _reset_board(self) -> Procedure[bool]:
        before = self._banners
        self._reset_asked = True
        self._outbox += RESET
        heard = yield from self._clock.until(lambda: self._banners > before, RESET_S)
        self._reset_asked = False
        return heard

    def _home(self) -> Procedure[None]:
        if self.state in (BoardState.ALARM, BoardState.LOST):
            yield from self._reset_board()
            yield from self._quiet(SETTLE_S, SETTLE_MOST_S)
        else:
            yield from self._clock.until(lambda: not self.ledger.queued, DRAIN_S)
        self.homed = False
        self.state = BoardState.HOMING
        self.seeking = ""
        self._home_from = yield from self._fresh_report()
        answer = yield from self._ask(HOME_LINE, HOME_S)
        if answer == "ok":
            answer = yield from self._ask(MODALS, ANSWER_S)
        report = (yield from self._fresh_report()) if answer == "ok" else None
        if report is None or report.machine_mm is None or report.state != "Idle":
            self._fall(BoardState.ALARM, f"homing failed: {answer}. Is homing switched on in the board ($22=1)?")
            return
        self._referenced(self._grid.from_mm(report.machine_mm))

    def _find_sought(self) -> Procedure[None]:
        """After a homing that failed: the axis that has gone furthest, by the length of its travel, found no switch."""
        before, self._home_from = self._home_from, None
        if before is None or before.machine_mm is None:
            return
        after = yield from self._fresh_report()
        if after is None or after.machine_mm is None:
            return
        axes = self._machine.axes
        gone = {
            letter: abs(now - was) / (high - low)
            for letter, was, now, low, high in zip(
                "xyz", before.machine_mm, after.machine_mm, axes.travel_min_mm, axes.travel_max_mm, strict=True
            )
        }
        furthest = max(gone, key=lambda letter: gone[letter])
        self.seeking = furthest if gone[furthest] > 0.0 else ""

    def _fresh_report(self) -> Procedure[Report | None]:
        """A report that came twice alike: what is built on it must not be spoilt on the wire."""
        before: Report | None = None
        for _ in range(REPORT_TRIES):
            self._report = None
            self._outbox += ASK
            self._asked_s = self._clock.now_s
            yield from self._clock.until(lambda: self._report is not None, POLL_REST_S)
            told = self._reported_last()
            if told is not None and told == before:
                return told
            before = told
        return None

    def _reported_last(self) -> Report | None:
        return self._report

    def _object_to(self, words: str, answer: str, remedy: str) -> None:
        self.notebook.object(f"no good answer to {words}", answer, remedy)

    # -- lines to the board -------------------------------------------------------------------------------------------

    def _line(self, words: str, piece: Piece | None) -> Line:
        self._asked_at_rest = False
        return Line(words, self._clock.now_s, piece)

    def _may_write(self, size: int) -> bool:
        return self._lines.room(size + 1 + RESERVED_BYTES)

    def _write_moves(self) -> None:
        now_s, ledger = self._clock.now_s, self.ledger
        for order in ledger.orders:
            while not order.whole:
                first_of_retract = order.urgent and order.written == 0
                if not first_of_retract and (ledger.ahead_s(now_s) > AHEAD_S or ledger.planned(now_s) >= PLANNED_MOST):
                    return
                words = f"G91 G1 {self._move_words(order)}"
                if not (self._lines.room(len(words) + 1) if first_of_retract else self._may_write(len(words))):
                    return
                self._write_piece(order, words, now_s + self._wire_s(len(words) + 1) + FIRST_STEP_S)

    def _turn_words(self, rev_min: float) -> str:
        if rev_min == 0.0:
            return "M5"
        return f"{'M3' if rev_min > 0.0 else 'M4'} S{abs(rev_min):.0f}"

    # -- watching -----------------------------------------------------------------------------------------------------

    def _watch(self) -> None:
        if not self.connected or self._procedure is not None:
            return
        now_s = self._clock.now_s
        if self._unanswered > 1 and now_s - self._heard_s > SILENT_S and self.state is BoardState.READY:
            self._fall(BoardState.LOST, f"the board has not answered for {SILENT_S:g} s")
        busy = self.ledger.queued or len(self._lines)
        if now_s - self._asked_s >= (POLL_BUSY_S if busy else POLL_REST_S):
            self._asked_s = now_s
            self._asked_at_rest = not len(self._lines)
            self._unanswered += 1
            self._outbox += ASK
