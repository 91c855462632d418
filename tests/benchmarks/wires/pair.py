"""Both ends of the wires as a user starts them: the virtual machine in one process, `gapwright run` in another."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from controller.settings.find import resolve

ROOT = Path(__file__).parents[3]
# How long either end may take to do what it is asked (s): a run at most as long as a coupon and some more.
PATIENCE_S = 900.0
BACKLASH_UM = 50.0  # the task's own figure


class Broken(Exception):
    """One of the two ends did not do what it should."""


class MachineEnd:
    """The virtual machine's process.

    Args:
        folder: Where its files are written.
        convention, front_end, tick_hz: Of the machine file.
        job: What lies on the table.
        plant: Lines of a plant file, laid over the default plant.
    """

    def __init__(
        self,
        folder: Path,
        convention: str,
        front_end: str = "biased",
        tick_hz: int = 100,
        job: str = "coupon.toml",
        plant: str = "",
        seed: int = 1,
    ) -> None:
        self.machine = folder / "machine.toml"
        source = folder / "believed.toml"
        source.write_text(machine_text(convention, front_end, tick_hz), encoding="utf-8")
        overlay = folder / "plant.toml"
        overlay.write_text(f"[axes]\nbacklash_um = {BACKLASH_UM}\n{plant}", encoding="utf-8")
        command = [sys.executable, "-m", "tests.benchmarks.wires.served", "--machine", str(source)]
        command += ["--job", str(resolve(job, kind="jobs")), "--write-machine", str(self.machine)]
        command += ["--plant", str(overlay), "--seed", str(seed)]
        self._process = subprocess.Popen(
            command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )
        self.until("ready")

    def until(self, key: str) -> Any:
        """Wait until it says something about `key`."""
        assert self._process.stdout is not None
        for line in self._process.stdout:
            told = json.loads(line)
            if key in told:
                return told[key]
        raise Broken(f"the virtual machine ended before it said {key!r}")

    def say(self, words: str) -> None:
        """Type a line into it."""
        assert self._process.stdin is not None
        self._process.stdin.write(words + "\n")
        self._process.stdin.flush()

    def end(self) -> dict[str, Any]:
        """End it; returns all it saw."""
        self.say("end")
        assert self._process.stdout is not None
        told: dict[str, Any] = {}
        for line in self._process.stdout:
            told |= json.loads(line)
        self._process.wait(PATIENCE_S)
        return told

    def kill(self) -> None:
        """Whatever became of it, it is gone afterwards."""
        self._process.kill()
        self._process.wait()


@contextmanager
def machine_end(folder: Path, **settings: Any) -> Iterator[MachineEnd]:
    """A virtual machine while the block runs."""
    folder.mkdir(parents=True, exist_ok=True)
    end = MachineEnd(folder, **settings)
    try:
        yield end
    finally:
        end.kill()


@contextmanager
def host_end(
    machine: Path,
    folder: Path,
    job: str = "coupon.toml",
    before: Callable[[], None] | None = None,
    options: Sequence[str] = (),
) -> Iterator[subprocess.Popen[str]]:
    """`gapwright run` while the block runs; interrupted, then killed, if it is still there at its end."""
    command = [sys.executable, "-m", "controller.cli", "run", job, "--machine", str(machine), "--out", str(folder)]
    with (folder.parent / f"{folder.name}.txt").open("w", encoding="utf-8") as told:
        process = subprocess.Popen(
            [*command, "--headless", "--yes", *options],
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=told,
            stderr=told,
            text=True,
            preexec_fn=before,  # noqa: PLW1509 (a single thread stands here)
        )
        try:
            yield process
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGCONT)
                process.send_signal(signal.SIGINT)
                try:
                    process.wait(60.0)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait()


def machine_text(convention: str, front_end: str, tick_hz: int) -> str:
    """A shipped machine file with another front end, tick, and the backlash of the measurement."""
    text = resolve(f"{convention}.toml", kind="machines").read_text(encoding="utf-8")
    changes: Mapping[str, str] = {
        'front_end = "clamp"': f'front_end = "{front_end}"',
        "tick_hz = 100": f"tick_hz = {tick_hz}",
        "backlash_um = [40.0, 40.0, 40.0]": f"backlash_um = [{BACKLASH_UM}, {BACKLASH_UM}, {BACKLASH_UM}]",
    }
    for before, after in changes.items():
        if before not in text:
            raise Broken(f"{convention}.toml does not say {before!r} any more")
        text = text.replace(before, after)
    return text
