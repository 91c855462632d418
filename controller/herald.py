"""The herald: a process beside the loop that tells everybody who listens, and hands in what they ask.

The loop writes to a socket pair and reads from it, and never waits for either; sockets that others may connect to are
open here only. When the herald dies the run goes on unwatched; when the loop dies the herald says so and goes.
"""

from __future__ import annotations

import io
import multiprocessing
import pickle
import signal
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import zmq

from controller.bus.bus import Bus
from controller.bus.place import BusError
from controller.core.events import Event
from controller.core.snapshot import Snapshot
from controller.host.inlet import request_line
from controller.host.line import Line
from controller.host.outlet import Begin
from controller.host.stop_signals import SIGNALS
from controller.record.journal import StopRecord
from controller.screen import err
from controller.watchable import about

READ_BYTES: Final = 65536
LOOP_DIED: Final = "the process that drove the machine has died; the fail-safe gate opens the source contact by itself"


class Herald:
    """Tells what comes from the loop and hands requests back."""

    def __init__(self, connected: socket.socket) -> None:
        self._loop = connected
        self._loop.setblocking(False)
        self._partial = b""
        self._bus: Bus | None = None
        self._last_words = LOOP_DIED
        self._poller = zmq.Poller()
        self._poller.register(self._loop.fileno(), zmq.POLLIN)

    def serve(self) -> None:
        """Work until the loop has finished or is dead."""
        try:
            while self._listen():
                if self._bus is not None:
                    for request in self._bus.requests():
                        self._loop.send(request_line(request))
        except OSError:
            return  # the loop has gone in the middle of a word
        finally:
            if self._bus is not None:
                self._bus.close(self._last_words)

    def _listen(self) -> bool:
        """Wait for either side and take what the loop sent; False when it sends no more."""
        ready = dict(self._poller.poll())
        if self._loop.fileno() not in ready:
            return True
        read = self._loop.recv(READ_BYTES)
        self._partial += read
        for item in self._items():
            self._take(item)
        return bool(read)

    def _items(self) -> Iterator[Any]:
        """Whole items of what was read; a part of one waits for the rest."""
        stream = io.BytesIO(self._partial)
        taken = 0
        try:
            while True:
                item = pickle.load(stream)  # noqa: S301 (both ends are this program, joined by a socket pair)
                taken = stream.tell()
                yield item
        except (EOFError, pickle.UnpicklingError):
            self._partial = self._partial[taken:]

    def _take(self, item: object) -> None:
        match item:
            case Begin():
                self._begin(item)
            case Event() if self._bus is not None:
                self._bus.hear(item)
            case Snapshot() if self._bus is not None:
                self._bus.see(item)
            case StopRecord():
                self._last_words = f"{item.outcome}: {item.reason}"

    def _begin(self, begin: Begin) -> None:
        self._bus = Bus(about(str(begin.folder), begin.start, begin.placed, begin.expected_s))
        self._poller.register(self._bus.asked, zmq.POLLIN)


def be_herald(connected: socket.socket) -> None:
    """What the herald's process does."""
    for number in SIGNALS:  # the run decides when it ends
        signal.signal(number, signal.SIG_IGN)
    try:
        Herald(connected).serve()
    except BusError as broken:
        err.print(str(broken), markup=False, highlight=False, soft_wrap=True)
        raise SystemExit(1) from broken


@contextmanager
def herald_process() -> Iterator[Line]:
    """A herald in a process of its own while the block runs."""
    ours, theirs = socket.socketpair()
    line = Line(ours)
    process = multiprocessing.get_context("spawn").Process(target=be_herald, args=(theirs,), daemon=True)
    process.start()
    theirs.close()
    try:
        yield line
    finally:
        line.outlet.finish()
        process.join()
