"""A run behind its screen, as a user sees it: in a terminal, closed, attached again, killed."""

from __future__ import annotations

import json
import os
import select
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

from controller.bus.listener import ask, look_at
from controller.core.requests import Answer
from tests.test_cli import gapwright

if sys.platform == "win32":
    pytest.skip("no pseudo-terminals here", allow_module_level=True)
import fcntl
import pty
import termios

DEADLINE_S = 120.0


class Terminal:
    """A terminal of 80 × 24 with a command of ours in it."""

    def __init__(self, *arguments: str, cwd: Path) -> None:
        self._ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.process = subprocess.Popen(
            [sys.executable, "-m", "controller.start", *arguments],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            cwd=cwd,
            env=os.environ | {"TERM": "xterm-256color"},
        )
        os.close(theirs)
        self.shown = ""

    def until(self, words: str) -> None:
        """Read what is shown until these words have been."""
        end_s = time.monotonic() + DEADLINE_S
        while words not in self.shown:
            assert time.monotonic() < end_s, f"never shown: {words}\n{self.shown[-2000:]}"
            if not self._read(0.1):
                assert words in self.shown, self.shown[-2000:]

    def _read(self, seconds: float) -> bool:
        """Read what is shown in so many seconds; False when the other end was closed."""
        end_s = time.monotonic() + seconds
        while (left_s := end_s - time.monotonic()) > 0:
            if select.select([self._ours], [], [], left_s)[0]:
                try:
                    self.shown += os.read(self._ours, 65536).decode("utf-8", "replace")
                except OSError:
                    return False
        return True

    def press_until(self, keys: str, words: str) -> None:
        """Type, again and again, until these words are shown: what is typed while a question opens is lost."""
        end_s = time.monotonic() + DEADLINE_S
        while words not in self.shown:
            assert time.monotonic() < end_s, f"never shown: {words}\n{self.shown[-2000:]}"
            self.press(keys)
            self._read(2.0)

    def press(self, keys: str) -> None:
        """Type."""
        os.write(self._ours, keys.encode())

    def close(self) -> None:
        """Hang up."""
        self.process.kill()
        self.process.wait()
        os.close(self._ours)


def test_a_screen_can_be_closed_attached_again_and_killed_and_the_run_goes_on(tmp_path: Path) -> None:
    """Held meanwhile, so that it does not come to its end before somebody looks."""
    run = tmp_path / "run"
    front = Terminal("rehearse", "coupon.toml", "--watch", "--speed", "80", "--out", str(run), cwd=tmp_path)
    try:
        front.until("of 6 holes")
        front.press("h")
        front.until("The run is held")
        front.press_until("\rq", "Stay")  # not yet; close
        front.press_until("\t\r", "goes on without the screen")
        assert front.process.wait(DEADLINE_S) == 0
    finally:
        front.close()
    again = Terminal("watch", str(run), cwd=tmp_path)
    try:
        again.until("The run is held")
        again.process.send_signal(signal.SIGKILL)
    finally:
        again.close()
    waiting = look_at(run).prompt
    assert waiting is not None
    assert ask(run, Answer(waiting.prompt, "go on")) == ""
    end_s = time.monotonic() + DEADLINE_S
    while not (run / "summary.json").exists():
        assert time.monotonic() < end_s, "the run did not come to its end"
        time.sleep(0.05)
    assert json.loads((run / "summary.json").read_text(encoding="utf-8"))["outcome"] == "complete"


def test_without_a_terminal_there_is_no_screen_and_that_is_said(tmp_path: Path) -> None:
    for command in (("watch", str(tmp_path)), ("rehearse", "coupon.toml", "--watch", "--out", str(tmp_path / "run"))):
        done = gapwright(*command)
        assert done.exit_code == 2
        assert "needs a terminal to paint on" in done.stderr
    assert not (tmp_path / "run").exists()


def test_a_run_that_nobody_serves_can_not_be_served_to_a_browser(tmp_path: Path) -> None:
    done = gapwright("watch", str(tmp_path / "run"), "--browser")
    assert done.exit_code == 2
    assert "no process is running this job now" in done.stderr
