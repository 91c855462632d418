"""The herald: a process beside the loop that tells everybody who listens, and hands in what they ask.

Two feeds come in. How things stand comes from the loop, ten times a second; what happened comes from the clerk, who
says it once it is on the disk, so nobody is told what a power cut could still undo. The loop writes to a socket pair
and reads from it, and never waits for either; sockets that others may connect to are open here only. When the herald
dies the run goes on unwatched; when the loop or the clerk dies the herald says so.
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
from controller.screen import err
from controller.watchable import about

READ_BYTES: Final = 65536
LOOP_DIED: Final = "the process that drove the machine has died; the fail-safe gate opens the source contact by itself"
CLERK_DIED: Final = "the process that keeps the record has died; the run ends by itself"


class Feed:
    """Items as they come through a socket, until whoever puts them in has finished or is dead.

    Args:
        connected: The socket.

    Attributes:
        over: Nothing more comes.
    """

    def __init__(self, connected: socket.socket) -> None:
        self._socket = connected
        self._socket.setblocking(False)
        self._partial = b""
        self.over = False

    def fileno(self) -> int:
        """For whoever waits for it."""
        return self._socket.fileno()

    def items(self) -> Iterator[Any]:
        """The whole items of what can be read now; a part of one waits for the rest."""
        read = self._socket.recv(READ_BYTES)
        self.over = not read
        self._partial += read
        stream = io.BytesIO(self._partial)
        taken = 0
        try:
            while True:
                item = pickle.load(stream)  # noqa: S301 (both ends are this program, joined by a socket pair)
                taken = stream.tell()
                yield item
        except (EOFError, pickle.UnpicklingError):
            self._partial = self._partial[taken:]


class Herald:
    """Tells how things stand and what happened, and hands requests back.

    Args:
        loop: The loop's end: snapshots come from there, requests go there.
        clerk: The clerk's end: the beginning, what happened and the last words come from there.
    """

    def __init__(self, loop: socket.socket, clerk: socket.socket) -> None:
        self._loop = loop
        self._feeds = [Feed(loop), Feed(clerk)]
        self._bus: Bus | None = None
        self._last_words = ""
        self._poller = zmq.Poller()
        for feed in self._feeds:
            self._poller.register(feed.fileno(), zmq.POLLIN)

    def serve(self) -> None:
        """Work until the loop and the clerk have finished or are dead."""
        try:
            while self._feeds:
                self._listen()
        finally:
            if self._bus is not None:
                self._bus.close(self._last_words)

    def _listen(self) -> None:
        """Wait for any side and take what it sends."""
        ready = dict(self._poller.poll())
        for feed in [feed for feed in self._feeds if feed.fileno() in ready]:
            for item in _read(feed):
                self._take(item)
            if feed.over:
                self._close(feed)
        if self._bus is not None:
            self._hand_in(self._bus)

    def _hand_in(self, bus: Bus) -> None:
        for request in bus.requests():
            try:
                self._loop.send(request_line(request))
            except OSError:
                return  # the loop has gone, and nobody is asked any more

    def _close(self, feed: Feed) -> None:
        """A feed is over; unless the last words came before, whoever fed it has died."""
        self._poller.unregister(feed.fileno())
        self._feeds.remove(feed)
        self._last_words = self._last_words or (LOOP_DIED if feed.fileno() == self._loop.fileno() else CLERK_DIED)

    def _take(self, item: object) -> None:
        match item:
            case Begin():
                self._bus = Bus(about(str(item.folder), item.start, item.placed, item.expected_s))
                self._poller.register(self._bus.asked, zmq.POLLIN)
            case Event() if self._bus is not None:
                self._bus.hear(item)
            case Snapshot() if self._bus is not None:
                self._bus.see(item)
            case str():
                self._last_words = item


def _read(feed: Feed) -> Iterator[Any]:
    """What a feed brings; one whose other end was torn off is over."""
    try:
        yield from feed.items()
    except OSError:
        feed.over = True


def be_herald(loop: socket.socket, clerk: socket.socket) -> None:
    """What the herald's process does."""
    for number in SIGNALS:  # the run decides when it ends
        signal.signal(number, signal.SIG_IGN)
    try:
        Herald(loop, clerk).serve()
    except BusError as broken:
        err.print(str(broken), markup=False, highlight=False, soft_wrap=True)
        raise SystemExit(1) from broken


@contextmanager
def herald_process() -> Iterator[tuple[Line, socket.socket]]:
    """A herald in a process of its own while the block runs: the loop's line to it, and the end for the clerk."""
    loop, loop_far = socket.socketpair()
    clerk, clerk_far = socket.socketpair()
    line = Line(loop)
    process = multiprocessing.get_context("spawn").Process(target=be_herald, args=(loop_far, clerk_far), daemon=True)
    process.start()
    loop_far.close()
    clerk_far.close()
    try:
        yield line, clerk
    finally:
        clerk.close()
        line.outlet.finish()
        process.join()
