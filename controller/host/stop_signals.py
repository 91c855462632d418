"""Signals that ask a run to end: counted, never acted upon where they arrive."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Final

# Ctrl-C, a request to terminate, a terminal that was closed (where the system has such a signal).
SIGNALS: Final = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]


class StopSignals:
    """How often the user has asked to stop."""

    def __init__(self) -> None:
        self.count = 0

    def ask(self, _signal: int, _frame: FrameType | None) -> None:
        """Count a signal."""
        self.count += 1


@contextmanager
def stop_signals() -> Iterator[StopSignals]:
    """Count the signals that ask to stop while the block runs; one that was ignored before goes on being ignored."""
    asked = StopSignals()
    heeded = [number for number in SIGNALS if signal.getsignal(number) is not signal.SIG_IGN]
    before = {number: signal.signal(number, asked.ask) for number in heeded}
    try:
        yield asked
    finally:
        for number, handled in before.items():
            signal.signal(number, handled)
