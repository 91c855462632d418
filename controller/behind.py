"""A run in a process of its own, and the screen in front of it.

The process has a session of its own: a screen that is closed, killed, resized or suspended, a terminal that hangs up,
Ctrl-C and Ctrl-Z at the screen, none of them reaches it. It says what it has to say into a file until the screen opens;
from then on the bus tells everything.
"""

from __future__ import annotations

import asyncio
import signal
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from time import sleep
from typing import BinaryIO, Final

import typer

from controller.bus.listener import Listener, look_at
from controller.bus.place import BusError
from controller.ending import EXIT, show_summary
from controller.record.journal import JournalError, read_journal
from controller.record.summary import summarise
from controller.screen import BadUsage, err, out
from tui.app import CLOSED, show
from tui.before import Before
from tui.finding import Command, Finding
from tui.rights import OWNER

# How often the beginning run is looked at (s). Chosen.
LOOK_S: Final = 0.05
# How long a run that is over may take to put its folder in order (s). Chosen: a report of 5000 holes on a slow disk.
FINISH_S: Final = 120.0
# So much of what it said last is shown of a process that died of a mistake of the program (bytes). Chosen: a trace.
LAST_WORDS: Final = 4000


def in_front_of(arguments: Sequence[str], run: Path) -> int:
    """Start a command of ours behind the screen; returns the exit code: its own, or 0 when the screen was closed."""
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(  # noqa: S603 (our own command, no shell)
            [sys.executable, "-m", "controller.start", *arguments],
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        if not _begun(process, run, said):
            return process.returncode
        if watched(run) == CLOSED:
            out.print(f"The job goes on without the screen. Come back with: gapwright watch {run}", highlight=False)
            return 0
        return _ended(process, run, said)


def find_on_screen(title: str, command: Command) -> None:
    """Find things by touching, one after the other, until the screen is closed."""
    Finding(title, command).run()


def acknowledge_on_screen(what: str, *, yes: bool, before: Sequence[str] | None = None) -> None:
    """Have the cautions acknowledged on the screen; with `yes` they were. Raises BadUsage when they are not."""
    from controller.cautions import BEFORE_A_RUN, NOT_ACKNOWLEDGED, cautions  # noqa: PLC0415 (`watch` needs none)

    if not (yes or Before(f"Before {what} starts", cautions(before or BEFORE_A_RUN)).run()):
        raise BadUsage(NOT_ACKNOWLEDGED)


def watched(run: Path, rights: frozenset[str] = OWNER) -> str:
    """Show a run until the screen is left; returns how. Raises BusError when nobody serves it."""

    async def follow() -> str:
        async with Listener(run) as listener:
            return await show(listener, rights)

    return asyncio.run(follow())


def _begun(process: subprocess.Popen[bytes], run: Path, said: BinaryIO) -> bool:
    """Wait until the run can be watched, showing what it says; False when it ended first. Ctrl-C is passed on."""
    shown = 0
    while True:
        try:
            ended = process.poll() is not None
            shown = _show(said, shown)
            if ended:
                return False
            if _served(run):
                return True
            sleep(LOOK_S)
        except KeyboardInterrupt:
            process.send_signal(signal.SIGINT)


def _served(run: Path) -> bool:
    try:
        return look_at(run) is not None
    except BusError:
        return False


def _show(said: BinaryIO, begin: int) -> int:
    """Show what was said since; returns how far that is."""
    said.seek(begin)
    words = said.read()
    err.file.write(words.decode("utf-8", "replace"))
    err.file.flush()
    return begin + len(words)


def _ended(process: subprocess.Popen[bytes], run: Path, said: BinaryIO) -> int:
    """The run is over, or its process has died: tell how it ended."""
    try:
        code = process.wait(FINISH_S)
    except subprocess.TimeoutExpired:
        err.print(f"The process {process.pid} is still putting {run} in order.", markup=False, highlight=False)
        return 0
    try:
        show_summary(summarise(read_journal(run)), run)
    except JournalError as error:
        err.print(str(error), markup=False, highlight=False, soft_wrap=True)
    if code not in EXIT.values():
        said.seek(0)
        err.print(said.read()[-LAST_WORDS:].decode("utf-8", "replace"), markup=False, highlight=False)
    return code


def attend(run: Path, rights: frozenset[str]) -> None:
    """Attach the screen to a run that goes on; says how to come back."""
    try:
        left = watched(run, rights)
    except BusError as error:
        raise BadUsage(str(error)) from error
    if left == CLOSED:
        out.print(f"The job goes on without the screen. Come back with: gapwright watch {run}", highlight=False)
    raise typer.Exit(0)
