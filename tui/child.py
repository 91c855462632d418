"""A command of ours that works while a screen shows what it says, and that outlives the screen.

It has a session of its own and says what it has to say into a file, so neither a terminal that hangs up nor a screen
that is killed reaches it in the middle of a move; it ends when it is done, or when it is asked to.
"""

from __future__ import annotations

import asyncio
import signal
import tempfile
from asyncio.subprocess import DEVNULL, STDOUT, Process
from collections.abc import AsyncIterator, Sequence
from typing import Final

# How often what it said is looked at (s). Chosen: at once, for somebody who reads.
LOOK_S: Final = 0.1


class Child:
    """The command at work.

    Attributes:
        code: Its exit code once it is over, else None.
    """

    def __init__(self, command: Sequence[str]) -> None:
        self._command = command
        self._process: Process | None = None

    @property
    def code(self) -> int | None:
        """See above."""
        return None if self._process is None else self._process.returncode

    async def lines(self) -> AsyncIterator[str]:
        """Start it, and give what it says, line by line, until it is over."""
        with tempfile.TemporaryFile() as said:
            self._process = process = await asyncio.create_subprocess_exec(
                *self._command, stdin=DEVNULL, stdout=said, stderr=STDOUT, start_new_session=True
            )
            waits = asyncio.ensure_future(process.wait())
            begun, at = b"", 0
            while True:
                over = waits.done()
                said.seek(at)  # its end of the file is another one, and stays where it writes
                read = said.read()
                at += len(read)
                *whole, begun = (begun + read).split(b"\n")
                for line in whole:
                    yield line.decode("utf-8", "replace").rstrip()
                if over:
                    break
                await asyncio.wait([waits], timeout=LOOK_S)
            if begun:
                yield begun.decode("utf-8", "replace").rstrip()

    def stop(self) -> None:
        """Ask it to end in order."""
        if self._process is not None and self._process.returncode is None:
            self._process.send_signal(signal.SIGINT)
