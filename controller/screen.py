"""What a command shows: results on standard output, progress and complaints on standard error."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic
from types import FrameType
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

# How often a bar is painted, and how often a plain line is written where there is no terminal (s of wall time): chosen
# so that a bar looks alive and a log file of a long job stays short.
PAINT_S, LINE_S = 0.2, 10.0

# Exit code frozen in interfaces.md ("Commands"): bad input or usage.
BAD_INPUT = 2

out = Console()
err = Console(stderr=True)


# Arguments that several commands share.
JobName = Annotated[str, typer.Argument(metavar="JOB", help="Job file: a path or a name.")]
MachineName = Annotated[str, typer.Option("--machine", help="Machine file: a path or a name.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON and nothing else.")]


class BadUsage(Exception):
    """A command was asked for something that can't be; the message says what would do."""


def has_terminal() -> bool:
    """Whether somebody sits at a terminal that can be painted on."""
    try:
        return sys.stdin.isatty() and sys.stdout.isatty()
    except ValueError:
        return False  # closed


def refuse_no_terminal(what: str) -> None:
    """Make sure that there is a terminal to paint on."""
    if not has_terminal():
        raise BadUsage(f"{what} needs a terminal to paint on; there is none here")


class HoleProgressBar:
    """Holes (or `what`) done, with the time left; a bar on a terminal, plain lines elsewhere, nothing when `quiet`."""

    def __init__(self, total: int, title: str, *, quiet: bool = False, what: str = "holes") -> None:
        self._total, self._title, self._quiet, self._what = total, title, quiet, what
        self._started_s = self._last_s = monotonic()
        self._bar = None if quiet or not err.is_terminal else _bar(what)
        self._task = self._bar.add_task(title, total=total, doing="") if self._bar else None

    def __enter__(self) -> HoleProgressBar:
        if self._bar:
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar:
            self._bar.stop()

    def show(self, done: int, doing: str, *, last: bool = False) -> None:
        """Show how far it got, if it is time to paint."""
        now_s = monotonic()
        if self._quiet or (not last and now_s - self._last_s < (PAINT_S if self._bar else LINE_S)):
            return
        self._last_s = now_s
        if self._bar and self._task is not None:
            self._bar.update(self._task, completed=done, doing=doing)
        else:
            err.print(self._line(done, doing, now_s), highlight=False, markup=False)

    def _line(self, done: int, doing: str, now_s: float) -> str:
        left = (now_s - self._started_s) * (self._total - done) / done if done else None
        time_left = "" if left is None or done == self._total else f", about {left:.0f} s left"
        return f"{self._title}: {done} of {self._total} {self._what}{time_left}{f' ({doing})' if doing else ''}"


def _bar(what: str) -> Progress:
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn(f"{what} ·"),
        TimeRemainingColumn(),
        TextColumn("left · {task.fields[doing]}"),
        console=err,
        refresh_per_second=1.0 / PAINT_S,
    )


class Interruption:
    """Whether the user asked to stop."""

    def __init__(self) -> None:
        self.asked = False

    def ask(self, _signal: int, _frame: FrameType | None) -> None:
        """Take the first Ctrl-C as a request to end in order; the second ends at once."""
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True


@contextmanager
def interruption() -> Iterator[Interruption]:
    """Ctrl-C and a request to terminate become a request to end in order while the block runs."""
    asked = Interruption()
    before = {number: signal.signal(number, asked.ask) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield asked
    finally:
        for number, handled in before.items():
            signal.signal(number, handled)
