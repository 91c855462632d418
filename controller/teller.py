"""The teller: a process beside the loop of a command that writes to the terminal, so that the loop never waits."""

from __future__ import annotations

import multiprocessing
import signal
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from controller.core.events import Checked, Event, FaultTripped, Noticed, PromptAnswered, PromptRaised, Said
from controller.host.outlet import Outlet, items
from controller.host.stop_signals import SIGNALS
from controller.screen import err

STYLES: Final = {"pass": "bold green", "fail": "bold red", "not done": "bold yellow"}


def tell(item: object) -> None:
    """Write an item as lines, if it says anything to whoever watches."""
    match item:
        case Checked():
            tell_verdict(item)
        case Said():
            _line(f"[{item.time_s:7.1f} s] {item.text}")
        case PromptRaised():
            _line(f"\nThe operator is needed: {item.topic}\n{item.what_happened}\n{item.what_to_do}")
            _line(f"Then: {item.what_next}\nType one of: {', '.join(item.choices)}")
        case PromptAnswered():
            _line(f"Answered: {item.choice}")
        case FaultTripped():
            _line(f"[{item.time_s:7.1f} s] Fault: {item.cause}: {item.meaning}.\n  {item.remedy}")
        case Noticed() if item.where != "loop":
            _line(f"[{item.time_s:7.1f} s] {item.where}: {item.what}")
        case str():
            _line(item)


def tell_verdict(verdict: Checked) -> None:
    """A verdict: outcome and title, what was found with its figures, and what is to be done."""
    err.print(f"{verdict.outcome:>8}", style=STYLES[verdict.outcome], end="  ", highlight=False)
    err.print(verdict.title, style="bold", markup=False, highlight=False)
    figures = "; ".join(figure.words() for figure in verdict.figures)
    for text in (verdict.words, figures, f"To do: {verdict.remedy}" if verdict.remedy else ""):
        if text:
            _line(f"          {text}")


def _line(text: str) -> None:
    err.print(text, markup=False, highlight=False, soft_wrap=True)


def _keep_telling(connected: socket.socket) -> None:
    for number in SIGNALS:  # the loop decides when it ends, and its last words come after that
        signal.signal(number, signal.SIG_IGN)
    for item in items(connected):
        if isinstance(item, Event | str):
            tell(item)


@contextmanager
def teller_process(*, quiet: bool) -> Iterator[Outlet]:
    """A teller in a process of its own while the block runs; the outlet leads to it. Quiet: it says nothing."""
    ours, theirs = socket.socketpair()
    outlet = Outlet(ours)
    target = _keep_silent if quiet else _keep_telling
    process = multiprocessing.get_context("spawn").Process(target=target, args=(theirs,))
    process.start()
    theirs.close()
    try:
        yield outlet
    finally:
        outlet.finish()
        process.join()


def _keep_silent(connected: socket.socket) -> None:
    for number in SIGNALS:
        signal.signal(number, signal.SIG_IGN)
    for _ in items(connected):
        pass
