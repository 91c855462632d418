"""Telling a run beside it: a process of its own, which the clerk minds and starts again when it dies."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from time import monotonic
from typing import Final

# From a death to the next start (s), doubled up to the last. Chosen: a mistake of the program that comes back at once
# writes some dozens of lines into a record of a night, not thousands.
AGAIN_S: Final = (10.0, 600.0)


class Telling:
    """Keeps one command of ours running for as long as the run lasts; it ends by itself with the run.

    Args:
        command: The command that tells, and its arguments.
        clock_s: Seconds of a clock that only goes forward.
    """

    def __init__(self, command: Sequence[str], clock_s: Callable[[], float] = monotonic) -> None:
        self._command = [sys.executable, "-m", "controller.start", *command]
        self._clock_s = clock_s
        self._wait_s = AGAIN_S[0]
        self._again_s: float | None = None
        self._process = self._started()

    def look(self) -> str:
        """What became of it since the last look, in words; empty when nothing did."""
        if self._again_s is not None:
            if self._clock_s() >= self._again_s:
                self._again_s = None
                self._process = self._started()
            return ""
        code = self._process.poll()
        if code is None:
            return ""
        words = f"`{self._command[3]}` has ended before the run (exit code {code}); again in {self._wait_s:.0f} s"
        self._again_s = self._clock_s() + self._wait_s
        self._wait_s = min(2.0 * self._wait_s, AGAIN_S[1])
        return words

    def _started(self) -> subprocess.Popen[bytes]:
        return subprocess.Popen(  # noqa: S603 (our own command, no shell)
            self._command, stdin=subprocess.DEVNULL, start_new_session=True
        )


def over_mqtt(run: Path, broker: Path, wait_s: float) -> Telling:
    """Tell a run over MQTT; its bus may take so long to be there."""
    return Telling(["publish", str(run), f"--broker={broker}", f"--wait={wait_s}"])
