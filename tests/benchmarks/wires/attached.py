"""How much later the loop of `gapwright run` comes with everybody attached who can be, against nobody.

Attached are the screen and two more watchers, each on a terminal of its own, a browser's server, and the teller over
MQTT where there is a broker on this computer. Both runs are the same job on the same virtual machine, one after the
other. On cores that may sleep, and beside the neighbours of `lateness.py`, which keep them awake: a core that was
asleep wakes late, and that is part of the figure. The processor time of the screen is what the system counted for it;
its first picture is timed before the neighbours come.
"""

from __future__ import annotations

import os
import pty
import re
import select
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Thread
from time import monotonic, sleep

from controller.bus.listener import look_at
from controller.bus.place import BusError
from tests.benchmarks.wires.lateness import TICK_HZ, Lateness, neighbours, read
from tests.benchmarks.wires.pair import PATIENCE_S, Broken, host_end, machine_end

WATCHERS = 3
# Rows and columns of the terminals: the roomy size of the snapshots.
ROWS, COLUMNS = 40, 120
ADDRESS = re.compile(r"http://\S+")
# Opens the page for its cookie, then takes what is painted, as the page's script does.
BROWSES = """
import asyncio, sys, aiohttp
async def browse(address):
    async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as session:
        async with session.get(address) as page:
            page.raise_for_status()
        where = address.partition("?")[0].replace("http", "ws", 1) + "ws?width=120&height=40"
        async with session.ws_connect(where, max_msg_size=0) as socket:
            async for _ in socket:
                pass
asyncio.run(browse(sys.argv[1]))
"""
# How long everybody may take to be there (s), and the pause between two looks. Chosen.
ATTACHED_S, LOOK_S = 10.0, 0.05


@dataclass(slots=True, frozen=True)
class Watched:
    """Lateness alone and with everybody; the screen's share of a core and how long its first picture took (s)."""

    alone: Lateness
    attended: Lateness
    screen_share: float
    first_paint_s: float
    brokered: bool


def watched(folder: Path, wanted_s: float, *, awake: bool) -> Watched:
    """Both runs, each for so long once everybody is there."""
    alone, _, _, _ = _run(folder / "alone", wanted_s, attended=False, awake=awake)
    attended, share, paint_s, brokered = _run(folder / "attended", wanted_s, attended=True, awake=awake)
    return Watched(alone, attended, share, paint_s, brokered)


def _run(folder: Path, wanted_s: float, *, attended: bool, awake: bool) -> tuple[Lateness, float, float, bool]:
    folder.mkdir(parents=True)
    run = folder / "run"
    share = paint_s = 0.0
    brokered = False
    with (
        machine_end(folder, convention="status", tick_hz=TICK_HZ) as machine,
        host_end(machine.machine, run) as host,
        ExitStack() as stack,
    ):
        _until_served(run)
        if attended:
            # One after the other, as people come; the first one's first picture is what somebody waits for.
            screens = [stack.enter_context(screen(run)) for _ in range(WATCHERS)]
            paint_s = screens[0].painted_s
            brokered = bool(stack.enter_context(told(run, folder)))
            if awake:
                stack.enter_context(neighbours())
            sleep(ATTACHED_S)
            before_s = screens[0].processor_s()
            sleep(wanted_s)
            share = (screens[0].processor_s() - before_s) / wanted_s
        else:
            if awake:
                stack.enter_context(neighbours())
            sleep(ATTACHED_S + wanted_s)
        host.send_signal(signal.SIGINT)
        host.wait(PATIENCE_S)
    return read(run / "journal.sqlite", fixed_priority=True), share, paint_s, brokered


def _until_served(run: Path) -> None:
    end_s = monotonic() + PATIENCE_S
    while monotonic() < end_s:
        try:
            look_at(run)
        except BusError:
            sleep(LOOK_S)
        else:
            return
    raise Broken(f"nobody serves {run}")


class Screen:
    """`gapwright watch` on a terminal of its own that takes what is painted.

    Attributes:
        painted_s: From the command to the first picture of the run; 0 before.
    """

    def __init__(self, run: Path) -> None:
        self._began_s = monotonic()
        self.painted_s = 0.0
        self._over = Event()
        self.pid, self._terminal = pty.fork()
        if self.pid == 0:
            os.environ |= {"TERM": "xterm-256color", "ROWS": str(ROWS), "COLUMNS": str(COLUMNS)}
            os.execv(sys.executable, [sys.executable, "-m", "controller.start", "watch", str(run)])  # noqa: S606
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        seen = b""
        while not self._over.is_set():
            if not select.select([self._terminal], [], [], LOOK_S)[0]:
                continue
            try:
                read = os.read(self._terminal, 65536)
            except OSError:
                return
            if not self.painted_s:
                seen += read
                # The head of the screen counts the holes.
                self.painted_s = monotonic() - self._began_s if b" holes" in seen else 0.0

    def processor_s(self) -> float:
        """Processor time so far."""
        fields = Path(f"/proc/{self.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def end(self) -> None:
        """Kill it: the run does not care."""
        self._over.set()
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        self._reader.join()
        os.close(self._terminal)


@contextmanager
def screen(run: Path) -> Iterator[Screen]:
    """A screen that has painted, while the block runs."""
    shown = Screen(run)
    end_s = monotonic() + ATTACHED_S
    try:
        while not shown.painted_s:
            if monotonic() > end_s:
                raise Broken("a screen never painted")
            sleep(LOOK_S)
        yield shown
    finally:
        shown.end()


@contextmanager
def told(run: Path, folder: Path) -> Iterator[bool]:
    """A browser's server, and a teller over MQTT with its broker where there is one; whether there is."""
    commands = []
    broker = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    with ExitStack() as stack:
        stack.enter_context(_browser(run))
        if broker is not None:
            port = _free_port()
            stack.enter_context(_process([broker, "-p", str(port)]))
            (folder / "broker.toml").write_text(f'host = "127.0.0.1"\nport = {port}\n', encoding="utf-8")
            commands.append(["publish", str(run), "--broker", str(folder / "broker.toml")])
        for words in commands:
            stack.enter_context(_process([sys.executable, "-m", "controller.start", *words]))
        yield broker is not None


@contextmanager
def _browser(run: Path) -> Iterator[None]:
    """The screen's server, and a browser that lets itself be shown everything."""
    command = [sys.executable, "-m", "controller.start", "watch", str(run), "--browser", "--port", str(_free_port())]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        assert server.stdout is not None
        address = next(found.group() for line in server.stdout if (found := ADDRESS.search(line)))
        with _process([sys.executable, "-c", BROWSES, address]):
            yield
    finally:
        server.send_signal(signal.SIGINT)
        server.wait()


@contextmanager
def _process(command: Sequence[str]) -> Iterator[None]:
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL)
    try:
        yield
        # By now the run is over, and who followed it to its end has ended, too.
        if process.poll() not in (None, 0):
            raise Broken(f"{' '.join(command)} ended by itself, with {process.returncode}")
    finally:
        process.kill()
        process.wait()


def _free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port: int = asked.getsockname()[1]
        return port
