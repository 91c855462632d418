"""What both motion conventions share: orders from commands, writing what is due, procedures, and the board's state.

A convention (`status.py`, `ack.py`) says how lines look, how they are answered, how many may wait, and how to connect,
home, poll and stop. Bytes come in by `receive`, what is to be written goes out by `pending`; both are told the time.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import deque
from math import ceil

from controller.core.commands import Halt, Home, Move, Turn
from controller.core.observation import BoardState
from controller.link.grid import NOWHERE, StepGrid, Steps, add, decimal, longest, subtract
from controller.link.ledger import Order, Piece, StepLedger
from controller.link.lines import LineReader
from controller.link.notices import Notebook
from controller.link.outstanding import Line, Outstanding
from controller.link.procedure import Clock, Procedure
from controller.link.profile import planned
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM

# A long move is written in pieces of about this much motion, and never more than this much ahead: what was written
# can't be recalled. So a halt is "write no more", and after the death of the host the axes stop by themselves. Chosen
# so that three pieces (the most an `ack` board may hold, wires.md) are the time to brake from 60 mm/s at 500 mm/s².
PIECE_S, AHEAD_S = 0.05, 0.12
# A homing that takes longer has failed: the core gives up at 180 s (core/cycles/travel.py); a little before: chosen.
HOME_S = 170.0
# Waiting for the rest of the queue before homing: AHEAD_S and a slow last move (60 s in core/cycles/wait.py): chosen.
DRAIN_S = 60.0
S_PER_MIN = 60.0
BITS_PER_BYTE = 10  # start, eight of data, stop


class MotionBoard(ABC):
    """One motion board, whatever its convention.

    Attributes:
        state: What the core sees of the board; `lost` until it is connected.
        homed: The axis positions are referenced.
        seeking: Letters of the axes whose switches were being looked for when the board was last heard of.
        connected: The connect procedure has ended well.
        notebook: Notices and problems.
        ledger: The step ledger.
    """

    # Slowest step rate of the convention (steps/s): slower moves silently run at it (wires.md).
    SLOWEST_STEPS_S: float
    # The fewest steps (of the axis with most) that a line may hold, and the fewest lines that start at once.
    LEAST_STEPS, LEAST_LINES = 1, 1

    def __init__(self, machine: Machine) -> None:
        self.state = BoardState.LOST
        self.homed = False
        self.seeking = ""
        self.connected = False
        self.notebook = Notebook("board")
        self.ledger = StepLedger()
        self._machine = machine
        self._grid = StepGrid(machine.axes.steps_per_mm)
        self._home_steps = self._grid.from_mm(machine.axes.home_mm)
        self._origin: Steps = NOWHERE
        self._reader = LineReader()
        self._lines = Outstanding()
        self._outbox = bytearray()
        self._after_moves: deque[str] = deque()
        self._clock = Clock()
        self._procedure: Procedure[None] | None = None
        self._heard_s = 0.0

    # -- the seam -----------------------------------------------------------------------------------------------------

    @property
    def queued(self) -> int:
        """Moves taken up and not yet done."""
        return self.ledger.queued

    @property
    def connecting(self) -> bool:
        """The connect procedure is still under way."""
        return not self.connected and self._procedure is not None

    @property
    def position_um(self) -> tuple[float, float, float]:
        """Where the axes are estimated to stand (µm, machine frame), as of the last `pending`."""
        return self._grid.um(self.ledger.done)

    def start(self, time_s: float) -> None:
        """The port was just opened: begin to connect. Forgets whatever was before."""
        self._clock.now_s = self._heard_s = time_s
        self._reader.restart()
        self._forget_lines()
        self.notebook.problems.clear()
        self.connected = self.homed = False
        self.state = BoardState.LOST
        self.ledger.lose()
        self._begin(self._connect())
        self._go_on()  # what arrives before the first `pending` already counts

    def receive(self, received: bytes, time_s: float) -> None:
        """Take bytes from the board. Never raises, whatever they are."""
        self._clock.now_s = time_s
        for line in self._reader.feed(received):
            self._heard_s = time_s
            self._take(line)

    def pending(self, time_s: float) -> bytes:
        """Everything that is to be written now, to be written in one go; call it after every `receive` and tick."""
        self._clock.now_s = time_s
        self._go_on()
        self.ledger.advance(time_s)
        self._write_moves()
        self._write_after_moves()
        self._watch()
        written = bytes(self._outbox)
        self._outbox.clear()
        return written

    def carry_out(self, command: Move | Halt | Home | Turn, time_s: float) -> None:
        """Take a command up; what it takes to be written comes out of `pending`."""
        self._clock.now_s = time_s
        self.ledger.advance(time_s)
        match command:
            case Move():
                self._move(command)
            case Halt() if self.state is BoardState.HOMING:
                self.emergency_stop(time_s)  # the position is not known yet, so nothing is lost
            case Halt():
                # What is written runs out within AHEAD_S; nothing further follows. The position stays known.
                self.ledger.withdraw()
                self._after_moves.clear()
            case Home() if self.connected:
                self.ledger.withdraw()
                self._after_moves.clear()
                self._begin(self._home())
            case Turn():
                self._after_moves.append(self._turn_words(command.rev_min))
            case _:
                self._note("not homed: the board is not connected")

    def lose(self, time_s: float, why: str) -> None:
        """The port has gone: nothing more will be heard."""
        self._clock.now_s = time_s
        self._fall(BoardState.LOST, why)

    def close(self, time_s: float) -> None:
        """The last thing before the port is closed: nothing further is written of any move."""
        self.carry_out(Halt(), time_s)

    @abstractmethod
    def emergency_stop(self, time_s: float) -> None:
        """Stop motion at once, whatever it costs: the position is lost, only homing leads on."""

    # -- what a convention says ---------------------------------------------------------------------------------------

    @abstractmethod
    def _take(self, line: str) -> None:
        """One line from the board."""

    @abstractmethod
    def _connect(self) -> Procedure[None]:
        """From a port just opened to a board that can be driven."""

    @abstractmethod
    def _home(self) -> Procedure[None]:
        """Reference all axes, z first."""

    @abstractmethod
    def _write_moves(self) -> None:
        """Write the pieces that are due."""

    @abstractmethod
    def _watch(self) -> None:
        """Poll when it is time, and notice a board that has fallen silent."""

    @abstractmethod
    def _turn_words(self, rev_min: float) -> str:
        """The line that turns the spindle at a speed, or stops it."""

    @abstractmethod
    def _line(self, words: str, piece: Piece | None) -> Line:
        """A line as it goes out."""

    # -- commands -----------------------------------------------------------------------------------------------------

    def _move(self, move: Move) -> None:
        if self.state is not BoardState.READY or self._procedure is not None:
            self._note(f"a move was not sent: the board is {'busy' if self._procedure else self.state.value}")
            return
        if move.urgent:
            self.ledger.withdraw()
        target = self._grid.steps(move.x_um, move.y_um, move.z_um)
        delta = self._shaped(subtract(target, self.ledger.wanted), urgent=move.urgent)
        if delta != NOWHERE:
            profile = planned(self._grid, self._machine.axes, delta, move.speed_um_s, self.SLOWEST_STEPS_S)
            self.ledger.order(delta, self._pieces(delta, profile.duration_s), profile, urgent=move.urgent)

    def _shaped(self, delta: Steps, *, urgent: bool) -> Steps:
        """The way that is really ordered: nothing, when a board would swallow it and the next move covers it.

        A retract straight up that is too short to start at once goes up as far as one that does.
        """
        steps, at_once = longest(delta), self.LEAST_STEPS * self.LEAST_LINES
        if urgent and 0 < delta[2] == steps < at_once:
            return delta[0], delta[1], at_once
        return delta if steps >= self.LEAST_STEPS else NOWHERE

    def _pieces(self, delta: Steps, duration_s: float) -> int:
        """In how many lines a way is written."""
        wanted = max(self.LEAST_LINES, ceil(duration_s / PIECE_S))
        return max(min(wanted, longest(delta) // self.LEAST_STEPS), 1)

    def _move_words(self, order: Order) -> str:
        """The words of an order's next line: relative axis words and a feed word (mm/min)."""
        start = self.ledger.sent
        feed_mm_min = order.profile.asked_um_s / UM_PER_MM * S_PER_MIN
        return f"{self._grid.words(start, add(start, order.next_way()))} F{decimal(feed_mm_min, 1)}"

    def _write_piece(self, order: Order, line_words: str, first_step_s: float) -> None:
        self._send(line_words, self.ledger.write(order, first_step_s))

    def _send(self, words: str, piece: Piece | None = None) -> Line:
        """Write a line and wait for its answer in the order of all others."""
        line = self._line(words, piece)
        self._lines.add(line)
        self._outbox += line.text.encode("ascii") + b"\n"
        return line

    def _wire_s(self, size: int) -> float:
        """Time a number of bytes takes on the wire."""
        return size * BITS_PER_BYTE / self._machine.motion.baud

    def _write_after_moves(self) -> None:
        """Lines that keep their place behind the moves, once all of these are written."""
        while self._after_moves and self._procedure is None and all(order.whole for order in self.ledger.orders):
            if self.state is not BoardState.READY:
                self._after_moves.clear()
                return
            if not self._may_write(len(self._after_moves[0])):
                return
            self._send(self._after_moves.popleft())

    @abstractmethod
    def _may_write(self, size: int) -> bool:
        """True when a line of so many characters may be written now."""

    # -- procedures ---------------------------------------------------------------------------------------------------

    def _begin(self, procedure: Procedure[None]) -> None:
        """Go on with this procedure from the next look on; one that is under way is left where it is."""
        self._procedure = procedure

    def _go_on(self) -> None:
        procedure = self._procedure
        if procedure is None:
            return
        try:
            next(procedure)
        except StopIteration:
            # It may have ended by beginning another one.
            if self._procedure is procedure:
                self._procedure = None

    def _ask(self, words: str, timeout_s: float) -> Procedure[str]:
        """Write a line and wait for its answer; `late` when none comes in time."""
        line = self._send(words)
        answered = yield from self._clock.until(lambda: bool(line.answer), timeout_s)
        return line.answer if answered else "late"

    def _quiet(self, quiet_s: float, timeout_s: float) -> Procedure[bool]:
        """Wait until the board has said nothing for a while; False when it never stops."""
        begun_s = self._clock.now_s

        def quiet() -> bool:
            return self._clock.now_s - max(self._heard_s, begun_s) >= quiet_s

        return (yield from self._clock.until(quiet, timeout_s))

    # -- state --------------------------------------------------------------------------------------------------------

    def _fall(self, state: BoardState, why: str) -> None:
        """The board can't be trusted any more: position and orders are lost, and what it waits for is unknown."""
        self._note(why)
        if self.state is not BoardState.ALARM or state is not BoardState.LOST:
            self.state = state
        self.homed = False
        self._forget_lines()
        self.ledger.lose()
        if self.connected:
            self._procedure = None

    def _forget_lines(self) -> None:
        self._lines.lose()
        self._outbox.clear()
        self._after_moves.clear()

    def _referenced(self, board_steps: Steps) -> None:
        """Homing is over: the board's own count `board_steps` is the home place of the machine frame."""
        self._origin = subtract(self._home_steps, board_steps)
        self.ledger.adopt(self._home_steps)
        self.homed = True
        self.seeking = ""
        self.state = BoardState.READY

    def _note(self, what: str) -> None:
        self.notebook.note(self._clock.now_s, what)
