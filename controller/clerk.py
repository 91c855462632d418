"""The clerk: a process beside the loop that keeps the record of a run and tells how it goes.

What is slow happens here: a disk that synchronises, a terminal that scrolls. What came in meanwhile is committed
together, so a disk of ten commits a second is no trouble; and nothing is told before it was committed, neither here
nor, by the herald, to those who watch. A disk that takes nothing is told to the loop, which ends the run in order;
meanwhile it is tried again. When the loop's process dies the clerk still puts the folder in order as far as the run
got; it is never the one that ends a run.
"""

from __future__ import annotations

import multiprocessing
import signal
import socket
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from queue import Empty, SimpleQueue
from threading import Thread
from time import monotonic
from typing import BinaryIO, Final

from controller.core.events import Event, FaultTripped, HoleFinished, Noticed, PromptAnswered, PromptRaised, Said
from controller.core.snapshot import Snapshot
from controller.host.capture import free_capture
from controller.host.outlet import Begin, Captured, Outlet, items
from controller.host.stop_signals import SIGNALS
from controller.record.happenings import happenings
from controller.record.journal import Journal, JournalError, StopRecord
from controller.record.run_folder import RunFolderError, complete_run_folder, make_run_folder
from controller.screen import HoleProgressBar, err
from controller.telling import over_mqtt

# A disk that took nothing is tried again this often, and at the end of the run for so long (s). Chosen: somebody who
# is told of it has time to make room.
AGAIN_S: Final = 1.0
PATIENCE_S: Final = 10.0
# What SQLite calls the ways in which a disk fails, and what they are called here.
TROUBLES: Final = {"SQLITE_FULL": "disk full", "SQLITE_READONLY": "disk read-only"}
# What the clerk says first, and how long it may take to be there (s). Chosen: a start of Python on a busy computer.
READY: Final = b"\n"
START_S: Final = 60.0
# How long whoever tells a run waits for its bus, which begins with the record (s). Chosen: a start of Python on a busy
# computer.
BUS_S: Final = 60.0
END: Final = object()


class Clerk:
    """Keeps the record of one run.

    Args:
        begin: How the run began.
        herald: Where that is told to those who watch; nothing is lost when nobody is there.
        quiet: Tell nothing on the terminal.
        answered: Somebody can answer prompts where the run was started.
    """

    def __init__(self, begin: Begin, herald: Outlet, *, quiet: bool, answered: bool) -> None:
        self._folder = begin.folder
        self._herald = herald
        if begin.resumed:
            self._journal = Journal.reopen(begin.folder)
        else:
            make_run_folder(begin.folder)
            self._journal = Journal(begin.folder, begin.start, begin.placed)
        self._capture = self._open_capture(begin)
        self._quiet, self._answered = quiet, answered
        self._bar = HoleProgressBar(len(begin.placed), begin.start.job, quiet=quiet)
        self._bar.__enter__()
        self._stop: StopRecord | None = None
        self._untold: list[Event | str] = []
        herald.put(begin)
        self._telling = over_mqtt(begin.folder, begin.broker, BUS_S) if begin.broker is not None else None

    def take(self, item: object) -> None:
        """Take what comes out of the loop; events are told by `settle`."""
        match item:
            case Captured(record) if self._capture is not None:
                self._capture.write(record)
            case Event():
                self._record(item)
            case Snapshot():
                self._mind_telling(item.time_s)
                self._bar.show(item.holes_done, item.doing)
            case StopRecord():
                self._stop = item
            case str():
                self._untold.append(item)

    def _record(self, event: Event) -> None:
        self._journal.append(event)
        self._untold.append(event)

    def _mind_telling(self, time_s: float) -> None:
        words = self._telling.look() if self._telling is not None else ""
        if words:
            self._record(Noticed(time_s, "telling", words))

    def settle(self) -> None:
        """Commit what came in, then tell it. Raises sqlite3.Error when the disk takes nothing; all is kept then."""
        self._journal.commit()
        for item in self._untold:
            if isinstance(item, Event):
                self._tell(item)
            else:
                self._say(item)
        self._untold.clear()
        self._herald.flush()

    def finish(self) -> None:
        """Everything is told: close the journal, say the last words and complete the folder."""
        self._bar.__exit__()
        if self._capture is not None:
            self._capture.close()
        self._journal.close(self._stop)
        if self._stop is not None:
            self._herald.put(f"{self._stop.outcome}: {self._stop.reason}")
        self._herald.finish()
        complete_run_folder(self._folder)

    @staticmethod
    def _open_capture(begin: Begin) -> BinaryIO | None:
        if not begin.capture:
            return None
        stream = free_capture(begin.folder).open("xb")
        stream.write(begin.capture)
        return stream

    def _tell(self, event: Event) -> None:
        self._herald.put(event)
        if isinstance(event, PromptRaised):
            self._ask(event)
        elif isinstance(event, PromptAnswered):
            self._say(f"Answered: {event.choice} {event.reading}".rstrip())
        elif words := told(event):
            self._say(words)

    def _ask(self, prompt: PromptRaised) -> None:
        self._say(f"\nThe operator is needed: {prompt.topic}\n{prompt.what_happened}")
        if self._answered:
            self._say(f"{prompt.what_to_do}\nThen: {prompt.what_next}\nType one of: {', '.join(prompt.choices)}")

    def _say(self, words: str) -> None:
        if not self._quiet:
            err.print(words, markup=False, highlight=False, soft_wrap=True)


def told(event: Event) -> str:
    """An event as a line for whoever watches; empty for what is everyday."""
    stamp = f"[{event.time_s:8.1f} s]"
    if isinstance(event, Said):
        return f"{stamp} {event.text}"
    if isinstance(event, HoleFinished) and event.outcome == "through":
        return (
            f"{stamp} Hole {event.hole} through: exit {event.exit_diameter_mm:.3f} ± {event.exit_diameter_u_mm:.3f} mm "
            f"by estimate, {event.seconds:.0f} s, {event.shorts} shorts"
        )
    if isinstance(event, FaultTripped):
        return f"{stamp} Fault: {event.cause}: {event.meaning}.\n  {event.remedy}"
    return "\n".join(f"{stamp} {happening.words}" for happening in happenings([event]))


def keep_record(connected: socket.socket, herald: Outlet, quiet: bool, answered: bool) -> None:
    """What the clerk's process does, until the loop has finished or is dead. Exits with 1 when the record is broken."""
    for number in SIGNALS:  # the run decides when it ends, and the record ends after it
        signal.signal(number, signal.SIG_IGN)
    waiting: SimpleQueue[object] = SimpleQueue()
    Thread(target=_collect, args=(connected, waiting), daemon=True).start()
    try:
        _keep(connected, waiting, herald, quiet=quiet, answered=answered)
    except (OSError, sqlite3.Error, JournalError, RunFolderError) as broken:
        words = f"the record of the run is broken off ({broken}); make sure that its folder can be written again"
        err.print(f"{words[:1].upper()}{words[1:]}.", markup=False, highlight=False, soft_wrap=True)
        herald.put(words)
        herald.finish()
        raise SystemExit(1) from broken


def _collect(connected: socket.socket, waiting: SimpleQueue[object]) -> None:
    """Take items as they come, so that the loop's end of the way never fills up while a disk is slow."""
    for item in items(connected):
        waiting.put(item)
    waiting.put(END)


def _keep(
    connected: socket.socket, waiting: SimpleQueue[object], herald: Outlet, *, quiet: bool, answered: bool
) -> None:
    clerk: Clerk | None = None
    troubled = False
    while True:
        batch = _batch(waiting, AGAIN_S if troubled else None)
        for item in batch:
            if isinstance(item, Begin):
                clerk = Clerk(item, herald, quiet=quiet, answered=answered)
            elif clerk is not None and item is not END:
                clerk.take(item)
        ended = bool(batch) and batch[-1] is END
        if clerk is not None:
            troubled = not _settled(clerk, connected, quiet=troubled)
        if ended:
            break
    if clerk is not None:
        _finish(clerk, connected, troubled=troubled)


def _batch(waiting: SimpleQueue[object], timeout_s: float | None) -> list[object]:
    """What has come in by now; waits for something, at most for the time-out."""
    batch: list[object] = []
    with suppress(Empty):
        batch.append(waiting.get(timeout=timeout_s))
        while batch[-1] is not END:
            batch.append(waiting.get_nowait())
    return batch


def _settled(clerk: Clerk, connected: socket.socket, *, quiet: bool) -> bool:
    """Commit; False when the disk takes nothing, which is told to the loop once."""
    try:
        clerk.settle()
    except sqlite3.OperationalError as error:
        if not quiet:
            trouble = TROUBLES.get(getattr(error, "sqlite_errorname", ""), "disk error")
            err.print(f"The record can't be written: {trouble} ({error}).", markup=False, highlight=False)
            with suppress(OSError):
                connected.sendall(f"{trouble}\n".encode())
        return False
    return True


def _finish(clerk: Clerk, connected: socket.socket, *, troubled: bool) -> None:
    """Close the record; a disk that took nothing is given some time to."""
    until_s = monotonic() + PATIENCE_S
    while troubled and monotonic() < until_s:
        with suppress(Empty):
            SimpleQueue[object]().get(timeout=AGAIN_S)
        troubled = not _settled(clerk, connected, quiet=True)
    clerk.finish()


def _work(connected: socket.socket, herald: socket.socket, quiet: bool, answered: bool) -> None:
    """The clerk is there, and keeps the record."""
    connected.sendall(READY)
    keep_record(connected, Outlet(herald), quiet, answered)


def _is_there(connected: socket.socket) -> bool:
    """Wait for the clerk's first word."""
    connected.settimeout(START_S)
    try:
        return connected.recv(len(READY)) == READY
    except OSError:
        return False


@contextmanager
def clerk_process(herald: socket.socket, *, quiet: bool, answered: bool) -> Iterator[Outlet]:
    """A clerk in a process of its own while the block runs; the outlet leads to it, and the socket is its own.

    The block begins once the clerk is there: on a busy computer it may be late by seconds, and a machine that moved
    meanwhile would leave no record when its host is killed. When the block ends the clerk is waited for.
    `Outlet.broken` tells whether the record is whole.
    """
    ours, theirs = socket.socketpair()
    process = multiprocessing.get_context("spawn").Process(target=_work, args=(theirs, herald, quiet, answered))
    process.start()
    theirs.close()
    herald.close()
    there = _is_there(ours)
    outlet = Outlet(ours)
    outlet.broken = not there
    try:
        yield outlet
    finally:
        outlet.finish()
        process.join()
        outlet.broken = outlet.broken or process.exitcode != 0
