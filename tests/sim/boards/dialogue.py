"""A host on the bench: puts bytes on a board's line by hand and watches bytes and steps in virtual time."""

from __future__ import annotations

from collections.abc import Callable

from controller.settings.machine import Axes
from sim.boards.ack import AckBoard
from sim.boards.ack_settings import AckSettings, AckTiming
from sim.boards.board import MotionBoard, home_switches
from sim.boards.drive import NoDrive
from sim.boards.status import StatusBoard
from sim.boards.status_settings import StatusSettings, StatusTiming

# How finely time is watched: 20 us, well below the tenth of a millisecond to which wires.md gives its figures.
FINE_S = 20e-6
BYTE_S = 10.0 / 115200.0


class Dialogue:
    """One board and what it did: lines with the moment their last byte came, steps as they stand."""

    def __init__(self, board: MotionBoard, drive: NoDrive) -> None:
        self.board = board
        self.drive = drive
        self.lines: list[tuple[float, str]] = []
        self.first_byte_s: list[float] = []
        self._partial = b""

    @property
    def now_s(self) -> float:
        return self.board.now_s

    @property
    def z(self) -> int:
        return self.board.planner.steps[2]

    def write(self, wire: str | bytes) -> float:
        """Put bytes on the line now; the moment the last of them is there."""
        wire = wire.encode() if isinstance(wire, str) else wire
        self.board.receive(wire)
        return self.now_s + len(wire) * BYTE_S

    def let(self, seconds: float) -> None:
        """Let time pass at once."""
        self._take(self.board.advance(self.now_s + seconds))

    def until(self, happened: Callable[[], bool], within_s: float = 5.0) -> float:
        """Let time pass finely until something happened; the moment it did."""
        ends_s = self.now_s + within_s
        while not happened():
            assert self.now_s < ends_s, "it never happened"
            self.let(FINE_S)
        return self.now_s

    def ask(self, line: str, within_s: float = 5.0) -> list[str]:
        """Write a line, wait for its reply; everything said until then."""
        before = len(self.lines)
        self.write(line + "\n")
        self.until(lambda: any(_is_reply(said) for _, said in self.lines[before:]), within_s)
        return [said for _, said in self.lines[before:]]

    def another_line(self) -> None:
        """Wait for the next line."""
        said = len(self.lines)
        self.until(lambda: len(self.lines) > said)

    def said(self) -> list[str]:
        return [line for _, line in self.lines]

    def stand(self) -> None:
        """Wait until nothing moves."""
        self.until(lambda: self.board.planner.empty, 60.0)

    def _take(self, wire: bytes) -> None:
        for byte in wire:
            if not self._partial:
                self.first_byte_s.append(self.now_s)
            self._partial += bytes((byte,))
            if byte == ord("\n"):
                self.lines.append((self.now_s, self._partial.decode().strip()))
                self._partial = b""


def _is_reply(said: str) -> bool:
    return said.startswith(("ok", "error:"))


def status_dialogue(acceleration_mm_s2: float = 500.0, timing: StatusTiming | None = None) -> Dialogue:
    """A `status` board at 400 steps/mm on z (the bench of wires.md), booted, unlocked, in relative millimetres."""
    axes = Axes(acceleration_mm_s2=(500.0, 500.0, acceleration_mm_s2))
    drive = NoDrive()
    board = StatusBoard(timing or StatusTiming(), StatusSettings.fitting(axes, home_switches(axes, 5.0)), drive)
    board.boot()
    bench = Dialogue(board, drive)
    bench.let(2.0)
    bench.ask("$X")
    bench.ask("G21G91G94")
    bench.let(0.1)
    return bench


def ack_dialogue(
    steps_per_mm: float = 400.0,
    timing: AckTiming | None = None,
    acceleration_mm_s2: float = 500.0,
    uniform: float = 0.5,
) -> Dialogue:
    """An `ack` board, booted, stops and soft limits off, in relative millimetres."""
    axes = Axes(steps_per_mm=(80.0, 80.0, steps_per_mm), acceleration_mm_s2=(500.0, 500.0, acceleration_mm_s2))
    drive = NoDrive()
    board = AckBoard(timing or AckTiming(), AckSettings.fitting(axes, home_switches(axes, 5.0)), drive, lambda: uniform)
    board.boot()
    bench = Dialogue(board, drive)
    bench.let(2.0)
    for line in ("M121", "M211 S0", "G91"):
        bench.ask(line)
    bench.let(0.1)
    return bench
