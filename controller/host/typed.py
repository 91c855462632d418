"""Answers typed into the terminal where a run was started, taken without ever waiting for one."""

from __future__ import annotations

import os
import select
from typing import TextIO

from controller.core.events import PromptRaised
from controller.core.requests import Answer

READ_BYTES = 4096


class Typed:
    """Lines typed into a stream that somebody sits at.

    A process in the background that reads from a terminal is stopped by the system, and the heartbeat with it; so there
    the terminal is left alone.
    """

    def __init__(self, stream: TextIO) -> None:
        self._file: int | None = stream.fileno()
        self._partial = b""

    def lines(self) -> list[str]:
        """Whole lines that came since the last call."""
        if self._file is None or os.tcgetpgrp(self._file) != os.getpgrp():
            return []
        if not select.select([self._file], [], [], 0)[0]:
            return []
        read = os.read(self._file, READ_BYTES)
        if not read:
            self._file = None  # the terminal was closed
        *whole, self._partial = (self._partial + read).split(b"\n")
        return [line.decode("utf-8", "replace") for line in whole]


def somebody_sits_at(stream: TextIO) -> bool:
    """Whether somebody can answer at a stream of a system that lets it be looked at without waiting."""
    try:
        return stream.isatty() and hasattr(os, "tcgetpgrp")
    except ValueError:
        return False  # closed


def answer_of(line: str, prompt: PromptRaised) -> Answer | None:
    """What a typed line means as an answer: one of the choices, perhaps with a reading after it; None when none."""
    words = " ".join(line.split())
    for choice in sorted(prompt.choices, key=len, reverse=True):
        if words.lower() == choice or words.lower().startswith(f"{choice} "):
            return Answer(prompt.prompt, choice, words[len(choice) :].strip())
    return None
