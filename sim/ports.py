"""The virtual machine's ports and its only clock: bytes in and out, and machine time kept in step with the wall's.

Two kinds of port. A pseudo-terminal, where the system has them, is opened like a real serial device. A TCP socket
works everywhere: `socket://host:port`. A host that opens a port resets the board behind it, as stock boards do; while
nobody has it open, what the board says is lost and the machine lives on.
"""

from __future__ import annotations

import errno
import gc
import os
import select
import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from time import monotonic, sleep
from typing import Protocol, TextIO

from sim.wired import WiredMachine

try:
    import termios
    import tty
except ImportError:  # a system without terminals: sockets alone
    HAS_PTY = False
else:
    HAS_PTY = hasattr(os, "openpty")

# From one look at the ports to the next (s of wall time). Chosen: half the time of a sample, far below a tick.
LOOK_S = 0.0005
# Further behind than this the machine's time is let slip instead of being made up (s). Chosen: less than the hold-up of
# the fail-safe gate (electrics.md: 60 +- 20 ms), so that a slow computer never starves it.
SLIP_S = 0.03
# Sleep at least this long in every round (s), so that other processes live even when this one is behind. Chosen.
LEAST_SLEEP_S = 0.0001
# Among processes that must be woken on time. Chosen high: a board waits for nobody, least of all for its host.
PRIORITY = 60
READ_BYTES = 4096
BACKLOG = 1


class Port(Protocol):
    """One serial port as the board's side sees it."""

    @property
    def url(self) -> str:
        """What a host opens."""

    def look(self) -> tuple[bool, bytes]:
        """Whether a host has just opened the port, and what it has sent since the last look."""

    def write(self, wire: bytes) -> None:
        """Send; lost when nobody has the port open."""

    def close(self) -> None:
        """Give the port back."""


class SocketPort:
    """A port on TCP; one host at a time, others are turned away."""

    def __init__(self, address: str = "127.0.0.1", number: int = 0) -> None:
        self._listening = socket.create_server((address, number), backlog=BACKLOG)
        self._listening.setblocking(False)
        self._host: socket.socket | None = None

    @property
    def url(self) -> str:
        """What a host opens."""
        address, number = self._listening.getsockname()[:2]
        return f"socket://{address}:{number}"

    def look(self) -> tuple[bool, bytes]:
        """Whether a host has just opened the port, and what it has sent since the last look."""
        opened = self._accept()
        if self._host is None:
            return opened, b""
        try:
            wire = self._host.recv(READ_BYTES)
        except BlockingIOError:
            return opened, b""
        except OSError:
            wire = b""
        if not wire:
            self._hang_up()
        return opened, wire

    def write(self, wire: bytes) -> None:
        """Send; lost when nobody has the port open, and when the host does not read."""
        if self._host is not None and wire:
            with suppress(BlockingIOError, OSError):
                self._host.send(wire)

    def close(self) -> None:
        """Give the port back."""
        self._hang_up()
        self._listening.close()

    def _accept(self) -> bool:
        try:
            host, _ = self._listening.accept()
        except BlockingIOError:
            return False
        if self._host is not None:
            host.close()
            return False
        host.setblocking(False)
        host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._host = host
        return True

    def _hang_up(self) -> None:
        if self._host is not None:
            self._host.close()
            self._host = None


class TerminalPort:
    """A pseudo-terminal. The system tells when its other side is open, and that is when the board resets."""

    def __init__(self) -> None:
        self._board, other = os.openpty()
        tty.setraw(other, termios.TCSANOW)
        self._name = os.ttyname(other)
        os.close(other)
        os.set_blocking(self._board, False)
        self._poll = select.poll()
        self._poll.register(self._board, select.POLLIN | select.POLLHUP)
        self._open = False

    @property
    def url(self) -> str:
        """What a host opens."""
        return self._name

    def look(self) -> tuple[bool, bytes]:
        """Whether a host has just opened the port, and what it has sent since the last look."""
        events = dict(self._poll.poll(0)).get(self._board, 0)
        was_open, self._open = self._open, not events & select.POLLHUP
        wire = self._read() if events & select.POLLIN else b""
        return self._open and not was_open, wire

    def write(self, wire: bytes) -> None:
        """Send; lost when nobody has the port open, and when the host does not read."""
        if self._open and wire:
            with suppress(BlockingIOError, OSError):
                os.write(self._board, wire)

    def close(self) -> None:
        """Give the port back."""
        os.close(self._board)

    def _read(self) -> bytes:
        try:
            return os.read(self._board, READ_BYTES)
        except BlockingIOError:
            return b""
        except OSError as gone:
            if gone.errno != errno.EIO:  # the other side is closed
                raise
            return b""


class Typed:
    """Lines typed into a stream, taken without ever waiting for one.

    A process in the background that reads from a terminal is stopped by the system, so it leaves the terminal alone.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream: TextIO | None = stream
        self._partial = b""
        self._poll = select.poll() if hasattr(select, "poll") else None
        try:
            if self._poll is not None:
                self._poll.register(stream.fileno(), select.POLLIN | select.POLLHUP)
        except (OSError, ValueError):
            self._stream = None  # closed, or no file of the system

    def lines(self) -> list[str]:
        """Whole lines that came since the last call."""
        stream = self._stream
        if stream is None or self._poll is None or not self._poll.poll(0) or _in_background(stream):
            return []
        wire = os.read(stream.fileno(), READ_BYTES)
        if not wire:
            self._stream = None
        *whole, self._partial = (self._partial + wire).split(b"\n")
        return [line.decode("utf-8", "replace") for line in whole]


def _in_background(stream: TextIO) -> bool:
    return stream.isatty() and os.tcgetpgrp(stream.fileno()) != os.getpgrp()


@dataclass(slots=True)
class Pace:
    """How well machine time kept step with the wall's.

    Attributes:
        prompt: The system wakes this process on time.
        slips, slipped_s: How often machine time had to slip, and the wall time lost by it (s).
    """

    prompt: bool
    slips: int = 0
    slipped_s: float = 0.0


def serve(machine: WiredMachine, ports: tuple[Port, Port], speed: float, asked_to_end: Callable[[], bool]) -> Pace:
    """Let the machine live at `speed` × real time behind (motion, sampler) ports until asked to end.

    `asked_to_end` is called between any two looks at the ports, so whoever gives it may do a little of his own there.
    """
    pace = Pace(prompt=be_prompt())
    began_s = monotonic()
    motion, sampler = ports
    while not asked_to_end():
        now_s = (monotonic() - began_s) * speed
        behind_s = (now_s - machine.now_s) / speed
        if behind_s > SLIP_S:
            began_s += behind_s - LOOK_S
            now_s = machine.now_s + LOOK_S * speed
            pace.slips += 1
            pace.slipped_s += behind_s
        motion_says, sampler_says = machine.advance(now_s)
        motion.write(motion_says)
        sampler.write(sampler_says)
        _take(motion, machine.motion)
        _take(sampler, machine.sampler)
        sleep(max(LEAST_SLEEP_S, began_s + now_s / speed + LOOK_S - monotonic()))
    return pace


def be_prompt() -> bool:
    """Ask the system to wake this process on time, as a board of its own would; False when it won't.

    A real board does not share the host's processor, so this one must not wait behind the host.
    """
    gc.collect()
    gc.freeze()
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(PRIORITY))
    except (AttributeError, OSError):
        return False
    return True


class Board(Protocol):
    """What a port leads to."""

    def boot(self) -> None:
        """The port was opened."""

    def receive(self, wire: bytes) -> None:
        """Bytes came."""


def _take(port: Port, board: Board) -> None:
    opened, wire = port.look()
    if opened:
        board.boot()
    if wire:
        board.receive(wire)
