"""The `ack` convention: numbered lines, an `ok` for each that means *queued*, resends, keep-alives.

All figures and habits: wires.md, "Motion board, `ack` convention". Feed comes from the host's clock in bursts of three
lines in one write, at most three planned: fewer lines wait 106 ms for company, lines of fewer than six steps are
swallowed. Nothing here can be read back but the board's count (`M114`) and its end stops (`M119`); so what must hold is
said again after every start of the board, and an unknown command among it is a problem.
"""

from __future__ import annotations

from functools import partial

from controller.core.observation import BoardState
from controller.link.ack_replies import Kind, Reply, read_reply
from controller.link.ack_words import (
    ALWAYS_ON,
    COUNT,
    DISPENSABLE,
    DRAIN,
    END_STOPS,
    HOME_LINES,
    KILL,
    LETS_GO,
    RENUMBER,
    STOP,
    what_must_hold,
)
from controller.link.board import AHEAD_S, DRAIN_S, HOME_S, MotionBoard
from controller.link.count_check import CountCheck, Verdict
from controller.link.grid import Steps, add, subtract
from controller.link.ledger import Order, Piece
from controller.link.numbered import Numbering, numbered
from controller.link.outstanding import Line
from controller.link.procedure import Procedure
from controller.settings.machine import Machine

# Lines not yet answered, blocks planned, lines of a burst (wires.md).
UNANSWERED_MOST, PLANNED_MOST, BURST_LINES = 4, 3, 3
# End of the last line to first step: three lines written in one go start in 6–8 ms (wires.md), of which some 40 bytes
# take 3.6 ms on the wire; fewer lines in an empty planner wait about 106 ms.
BURST_FIRST_STEP_S, LONE_FIRST_STEP_S = 0.0044, 0.106

# Opening the port resets most boards; bootloader, start and a listing of the settings take some seconds (common
# practice, no source). A board that says nothing until then was not reset, and is spoken to.
BOOT_S, SETTLE_S, SETTLE_MOST_S = 5.0, 0.5, 5.0
ANSWER_S = 2.0  # an `ok` comes within 3.2 ms (wires.md); right after the start the board is slower. Chosen.
ANSWER_TRIES = 3  # to the first line: what stood in the board's ring before may have spoilt it. Chosen.
COUNT_TRIES = 4  # for two counts alike, some of which may be spoilt; chosen
# M114 costs about 2 ms (wires.md): five a second at most cost a hundredth of the time; more only while the end of a
# long move is waited for. Chosen.
POLL_S, POLL_END_S = 0.2, 0.03
# A line's `ok` comes within 3.2 ms (wires.md), a keep-alive every 2 s when it can't (from memory). When an `ok` is a
# hundred times late it was lost on the wire; when it is twice that late, the board was. Chosen.
OK_LATE_S, SILENT_S, BUSY_S = 0.3, 0.6, 2.5
# After a request to send again the wire must be quiet for so long, else lines under way are asked for twice: longer
# than the board takes for the four lines that may be under way (wires.md: 3.2 ms each). Chosen.
RESEND_QUIET_S = 0.02
# Times that lines are sent again without one taken between: then the wire is not fit for use. Chosen: with the quiet
# time and the lines themselves about a second, after which the board counts as lost anyway.
RESENDS_MOST = 20


class AckBoard(MotionBoard):
    """A board of the `ack` convention."""

    SLOWEST_STEPS_S = 120.0  # wires.md: 32–120
    LEAST_STEPS, LEAST_LINES = 6, BURST_LINES

    def __init__(self, machine: Machine) -> None:
        super().__init__(machine)
        self._numbering = Numbering()
        self._started = False
        self._counted: Steps | None = None
        self._check = CountCheck()
        self._asked_s = self._busy_s = -1e9

    def emergency_stop(self, time_s: float) -> None:
        """Quick stop; on some builds it resets the board, so the position counts as lost on all.

        While homing it would wait in the queue until the axis has found its switch, or its end: only the kill is heard
        at once then, by boards that listen for it (common practice, no source); on others the hard-wired stop is left.
        """
        self._clock.now_s = time_s
        stop = KILL if self.state is BoardState.HOMING else STOP
        self._fall(BoardState.LOST, "emergency stop: the position is lost")
        self._outbox += stop.encode("ascii") + b"\n"

    # -- lines from the board -------------------------------------------------------------------------------------

    def _take(self, line: str) -> None:
        reply = read_reply(line)
        match reply.kind:
            case Kind.OK:
                self._ok(reply)
            case Kind.COUNT if reply.steps is not None:
                self._counted_at(reply.steps)
            case Kind.BUSY:
                self._busy_s = self._clock.now_s
            case Kind.RESEND if reply.number is not None:
                self._numbering.asked_again(reply.number)
                self._note(f"the board asks for line {reply.number} again")
            case Kind.UNKNOWN:
                self._unknown_told(line)
            case Kind.START:
                self._start_seen()
            case Kind.FATAL:
                self._fall(BoardState.ALARM, f"the board has halted: {line}")
            case Kind.END_STOP if line.endswith("TRIGGERED"):
                self._note(f"end stop reads triggered: {line}. An unconnected input does; outside homing it is off")
            case Kind.ERROR:
                self._note(f"the board says: {line}")

    def _ok(self, reply: Reply) -> None:
        if not self._numbering.takes():
            return
        if reply.number is not None and self._numbers_up_to(reply.number):
            return
        line = self._lines.answer("ok")
        if line is None:
            self._note("stray ok")
            return
        self._answered(line)

    def _numbers_up_to(self, number: int) -> bool:
        """The board tells which line it took: all before it were taken as well. False for a number of no line here."""
        if not any(line.number == number for line in self._lines):
            return False
        while (line := self._lines.answer("ok")) is not None:
            self._answered(line)
            if line.number == number:
                break
        return True

    def _answered(self, line: Line) -> None:
        if line.unknown:
            line.answer = "unknown"
            self._unknown(line)
        elif line.piece is not None:
            self.ledger.acknowledge(line.piece)

    def _unknown_told(self, told: str) -> None:
        """About the line whose turn it is, if it names its command; else that line was spoilt and is wanted again."""
        oldest = self._lines.oldest
        if oldest is not None and oldest.words.partition(" ")[0] in told:
            oldest.unknown = True
        else:
            self._note(f"a line was spoilt on the wire: {told}")

    def _unknown(self, line: Line) -> None:
        words = line.words
        if words.startswith(DISPENSABLE):
            self._note(f"the board does not know {words}; it can be done without")
            return
        if words == ALWAYS_ON:
            self.notebook.object(*LETS_GO, bars=False)
            return
        self.notebook.object(
            words, "the board does not know this command", "use firmware built with it: without it no run is safe"
        )
        if self.connected:
            self._fall(BoardState.ALARM, f"the board does not know {words}")

    def _start_seen(self) -> None:
        self._started = True
        if not self.connected:
            self._forget_lines()
            self._begin(self._introduced())
            return
        self._fall(BoardState.LOST, "the board has reset by itself: its position is lost")
        self._begin(self._relearn())

    # -- sending again ----------------------------------------------------------------------------------------------

    def _send_again(self) -> None:
        """Once the wire is quiet: everything from the line that was asked for, in order, in one write."""
        number = self._numbering.wanted
        if number is None or self._clock.now_s - self._heard_s < RESEND_QUIET_S:
            return
        again = self._numbering.again()
        if self._numbering.rounds > RESENDS_MOST:
            self._fall(BoardState.LOST, "the wire to the board is too noisy: it asks for lines again and again")
            return
        if again is None:
            self._fall(BoardState.LOST, f"the board asks for line {number}, which is long done: it has reset")
            self._begin(self._relearn())
            return
        waiting = set(map(id, self._lines))
        for line in reversed(again):
            if id(line) not in waiting:
                self._lines.put_back(line)
        for line in again:
            line.sent_s = self._clock.now_s
            self._outbox += line.text.encode("ascii") + b"\n"

    def _forget_lines(self) -> None:
        super()._forget_lines()
        self._numbering.forget()

    # -- procedures -------------------------------------------------------------------------------------------------

    def _connect(self) -> Procedure[None]:
        self._started = False
        yield from self._clock.until(lambda: self._started, BOOT_S)
        # A start begins the introduction by itself; without one the board has been running all along.
        yield from self._introduced()

    def _introduced(self) -> Procedure[None]:
        self.notebook.problems.clear()
        yield from self._quiet(SETTLE_S, SETTLE_MOST_S)
        if not (yield from self._made_ready()):
            return
        self.connected = True
        self.state = BoardState.READY

    def _made_ready(self) -> Procedure[bool]:
        """Count from 1, say what must hold, look at the end stops, take the board's count."""
        if not (yield from self._renumbered()):
            self.notebook.object(
                "board silent",
                f"no answer to {RENUMBER}",
                "look at motion.port, motion.baud and motion.convention in the machine file, at cable and supply",
            )
            return False
        for words in (*what_must_hold(self._machine.axes), END_STOPS):
            answer = yield from self._ask(words, ANSWER_S)
            if answer not in ("ok", "unknown"):
                self.notebook.object(words, f"the answer was {answer}", "reset the board, then connect again")
        found = yield from self._count_now()
        if found is None:
            self.notebook.object(COUNT, "no count of steps in the position report", "use firmware that reports it")
        if found is None or self.notebook.barred:
            return False
        self.ledger.adopt(add(found, self._origin))
        self._check.agree(self.ledger.sent)
        return True

    def _renumbered(self) -> Procedure[bool]:
        for _ in range(ANSWER_TRIES):
            self._forget_lines()
            self._numbering.restart()
            # An end of line first: what an earlier host left unfinished in the ring ends there.
            self._outbox += b"\n"
            line = Line(RENUMBER, self._clock.now_s)
            self._lines.add(line)
            self._outbox += RENUMBER.encode("ascii") + b"\n"
            if (yield from self._clock.until(partial(_taken, line), ANSWER_S)):
                return True
        return False

    def _relearn(self) -> Procedure[None]:
        """After a start of its own: everything that must hold again. The position stays lost until homed."""
        yield from self._quiet(SETTLE_S, SETTLE_MOST_S)
        ready = yield from self._made_ready()
        self.ledger.lose()
        self._note(f"what must hold was said again: {'taken' if ready else 'not taken'}")

    def _home(self) -> Procedure[None]:
        if self.state in (BoardState.ALARM, BoardState.LOST):
            if not (yield from self._made_ready()):
                self._fall(BoardState.LOST, "the board does not answer: reset it")
                return
        else:
            yield from self._clock.until(lambda: not self.ledger.queued, DRAIN_S)
        self.homed = False
        self.state = BoardState.HOMING
        for words in (*HOME_LINES, *what_must_hold(self._machine.axes), DRAIN):
            self.seeking = words[len("G28 ")].lower() if words in HOME_LINES else self.seeking
            answer = yield from self._ask(words, HOME_S)
            if answer not in ("ok", "unknown"):
                self._fall(BoardState.ALARM, f"homing failed: {words} was answered by {answer}")
                return
        found = yield from self._count_now()
        if found is None:
            self._fall(BoardState.ALARM, "homing failed: no count of steps afterwards")
            return
        self._referenced(found)
        self._check.agree(self.ledger.sent)

    def _count_now(self) -> Procedure[Steps | None]:
        """The count of steps, told twice alike: what is built on it must not be spoilt on the wire."""
        before: Steps | None = None
        for _ in range(COUNT_TRIES):
            self._counted = None
            yield from self._ask(COUNT, ANSWER_S)
            told: Steps | None = self._counted_last()
            if told is not None and told == before:
                return told
            before = told
        return None

    def _counted_last(self) -> Steps | None:
        return self._counted

    # -- the board's own count --------------------------------------------------------------------------------------

    def _counted_at(self, steps: Steps) -> None:
        """A position report also proves that every line before its own was taken, whatever became of the replies."""
        self._counted = steps
        asked = next((line for line in self._lines if COUNT in line.text and not line.reported), None)
        if asked is None:
            return
        asked.reported = True
        lost = 0
        while (oldest := self._lines.oldest) is not asked and oldest is not None:
            lost += 1
            self._lines.answer("ok")
            self._answered(oldest)
        if lost:
            self._note(f"{lost} replies were lost on the wire")
        if self.connected and self._procedure is None and len(self._lines) == 1:
            self._compare(add(steps, self._origin))

    def _compare(self, found: Steps) -> None:
        """Everything written was taken. Equal counts: all is done. Else motion goes on, or steps went missing."""
        ledger, now_s = self.ledger, self._clock.now_s
        if found != ledger.sent and any(order.written and now_s < order.end_s() for order in ledger.orders):
            return
        match self._check.judge(found, ledger.sent, now_s):
            case Verdict.SAME:
                ledger.stands()
            case Verdict.MOVING:
                ledger.late = True
            case Verdict.MISSING:
                self._note(f"the board stands at {found} steps, not at {ledger.sent}: its count is taken")
                ledger.adopt(found)
                self._check.agree(found)
            case Verdict.WRONG:
                made, sent = subtract(found, self._check.right), subtract(ledger.sent, self._check.right)
                why = f"the board has made {made} steps where {sent} were sent: "
                self._fall(BoardState.LOST, why + "look at its steps per mm, its end stops and its soft limits")

    # -- lines to the board -----------------------------------------------------------------------------------------

    def _line(self, words: str, piece: Piece | None) -> Line:
        number = self._numbering.next
        line = Line(numbered(number, words), self._clock.now_s, piece, number)
        self._numbering.keep(line)
        return line

    def _may_write(self, size: int) -> bool:
        return self._fits([size])

    def _fits(self, sizes: list[int]) -> bool:
        """True when lines of so many characters may be written now; number and checksum come on top."""
        if self._numbering.wanted is not None or len(self._lines) + len(sizes) > UNANSWERED_MOST:
            return False
        # A burst longer than the whole ring (three axes, all decimals) goes into an empty one.
        return self._lines.room(sum(map(self._framed, sizes))) or not len(self._lines)

    def _framed(self, size: int) -> int:
        """Bytes of a line of so many characters with its number, checksum and end."""
        return size + len(f"N{self._numbering.next} *255") + 1

    def _write_moves(self) -> None:
        for order in self.ledger.orders:
            if order.written == 0 and not self._begin_order(order):
                return
            while not order.whole:
                if self.ledger.planned(self._clock.now_s) >= PLANNED_MOST or not self._may_write(self._size(order)):
                    return
                if self.ledger.ahead_s(self._clock.now_s) > AHEAD_S:
                    return
                self._write_one(order, BURST_FIRST_STEP_S)

    def _begin_order(self, order: Order) -> bool:
        """Write the first lines of an order, up to three, in one go; a retract waits for nothing but room."""
        now_s = self._clock.now_s
        lines = min(order.pieces, BURST_LINES)
        planned = self.ledger.planned(now_s)
        if (planned and not order.urgent) or not self._fits([self._size(order)] * lines):
            return False
        wait_s = BURST_FIRST_STEP_S if planned or lines == BURST_LINES else LONE_FIRST_STEP_S
        on_wire_s = self._wire_s(self._framed(self._size(order)) * lines)
        for _ in range(lines):
            self._write_one(order, on_wire_s + wait_s)
        return True

    def _size(self, order: Order) -> int:
        """Characters of an order's next line; the following ones may be one digit longer on each axis."""
        return len("G1 ") + len(self._move_words(order)) + 3

    def _write_one(self, order: Order, first_step_s: float) -> None:
        words = f"G1 {self._move_words(order)}"
        self._write_piece(order, words, self._clock.now_s + first_step_s)

    def _turn_words(self, rev_min: float) -> str:
        """A share of the output's full scale; this output knows no direction."""
        if rev_min == 0.0:
            return "M107"
        return f"M106 S{min(round(255 * abs(rev_min) / self._machine.spindle.top_rev_min), 255)}"

    # -- watching ---------------------------------------------------------------------------------------------------

    def _watch(self) -> None:
        self._send_again()
        if not self.connected or self._procedure is not None or self.state is not BoardState.READY:
            return
        now_s = self._clock.now_s
        waiting_s = self._lines.age_s(now_s)
        if waiting_s > SILENT_S and now_s - self._busy_s > BUSY_S:
            self._fall(BoardState.LOST, f"the board has not answered for {SILENT_S:g} s")
        elif waiting_s > OK_LATE_S:
            self._poll(OK_LATE_S)
        elif not len(self._lines):
            self._poll(POLL_END_S if self._end_waited_for() else POLL_S)

    def _end_waited_for(self) -> bool:
        """Only the board's own count can end what should be over by now."""
        orders = self.ledger.orders
        return self.ledger.late or bool(orders and orders[0].whole and self._clock.now_s >= orders[0].end_s())

    def _poll(self, interval_s: float) -> None:
        if self._clock.now_s - self._asked_s >= interval_s and self._may_write(len(COUNT)):
            self._asked_s = self._clock.now_s
            self._send(COUNT)


def _taken(line: Line) -> bool:
    return line.answer == "ok"
