"""How much later the loop of `gapwright run` comes with everybody attached who can be, against nobody.

Attached are the screen and two more watchers, each on a terminal of its own, a browser's server, and the teller over
MQTT where there is a broker on this computer. They come and go several times in one and the same run, and every tick's
lateness is read off the run's capture: so what else the computer is held up by (another guest of the same host, say)
falls on both alike. On cores that may sleep, and beside the neighbours of `lateness.py`, which keep them awake. The
processor time of the screen is what the system counted for it.
"""

from __future__ import annotations

import asyncio
import os
import pty
import re
import select
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event, Thread
from time import monotonic, sleep

from controller.bus.listener import Listener, look_at
from controller.bus.place import BusError
from controller.core.snapshot import Snapshot
from controller.host.capture import Capture
from tests.benchmarks.wires.lateness import TICK_HZ, neighbours
from tests.benchmarks.wires.pair import PATIENCE_S, Broken, host_end, machine_end

WATCHERS = 3
# They come and go so often, in a run that lasts for some 280 s.
TIMES = 5
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
# How long everybody may take to be there (s), and is left to settle; the pause between two looks. Chosen.
ATTACHED_S, SETTLED_S, LOOK_S = 15.0, 5.0, 0.05

Span = tuple[float, float]


@dataclass(slots=True)
class Watched:
    """Lateness (s) of every tick alone and with everybody; the screen's share of a core, and its first pictures (s)."""

    alone: list[float]
    attended: list[float]
    screen_share: float
    first_paints_s: list[float]
    brokered: bool


@dataclass(slots=True)
class _Spans:
    """When nobody and when everybody was there, by the wall's monotonic clock; what the screens took meanwhile."""

    alone: list[Span] = field(default_factory=list)
    attended: list[Span] = field(default_factory=list)
    processor_s: float = 0.0
    paints_s: list[float] = field(default_factory=list)
    brokered: bool = False


def watched(folder: Path, wanted_s: float, *, awake: bool) -> Watched:
    """One run of a coupon; for so long in all with nobody there, and for so long with everybody."""
    folder.mkdir(parents=True)
    run, spans = folder / "run", _Spans()
    with (
        machine_end(folder, convention="status", tick_hz=TICK_HZ) as machine,
        host_end(machine.machine, run, options=("--capture",)) as host,
        ExitStack() as stack,
    ):
        _until_served(run)
        if awake:
            stack.enter_context(neighbours())
        zero_s = asyncio.run(_zero_s(run))
        for number in range(TIMES):
            _come_and_go(run, folder / f"{number}", spans, wanted_s / TIMES)
        if host.poll() is not None:
            raise Broken("the run was over before everybody had come and gone")
        host.send_signal(signal.SIGINT)
        host.wait(PATIENCE_S)
    times_s = [look.time_s for look, *_ in Capture(run).ticks()]
    late = lateness(times_s, 1.0 / TICK_HZ)
    alone, attended = (
        _within(late, [(a - zero_s, b - zero_s) for a, b in each]) for each in (spans.alone, spans.attended)
    )
    return Watched(alone, attended, spans.processor_s / wanted_s, spans.paints_s, spans.brokered)


def lateness(times_s: Iterable[float], tick_s: float) -> list[tuple[float, float]]:
    """Due time and lateness (s) of every tick that was due, from the times of all looks; due at whole ticks from zero.

    The first look in a tick's time is the one that was due; further ones were asked for in between. What comes after
    times without a look was due in the first of them.
    """
    found: list[tuple[float, float]] = []
    last = -1
    for time_s in times_s:
        now = int(time_s / tick_s + 1e-9)
        if now > last:
            due_s = (last + 1) * tick_s if found else now * tick_s
            found.append((due_s, max(time_s - due_s, 0.0)))
            last = now
    return found


def percentile_ms(late_s: Sequence[float], share: float) -> float:
    """The lateness (ms) that this share of the ticks did not exceed."""
    ordered = sorted(late_s)
    return 1e3 * ordered[min(int(share * len(ordered)), len(ordered) - 1)]


def _within(late: Sequence[tuple[float, float]], spans: Sequence[Span]) -> list[float]:
    return [late_s for due_s, late_s in late if any(begin <= due_s < end for begin, end in spans)]


def _come_and_go(run: Path, folder: Path, spans: _Spans, each_s: float) -> None:
    """Nobody for a while, then everybody for as long."""
    folder.mkdir()
    spans.alone.append(_passing(each_s))
    with ExitStack() as stack:
        # One after the other, as people come; the first one's first picture is what somebody waits for.
        screens = [stack.enter_context(screen(run)) for _ in range(WATCHERS)]
        spans.paints_s.append(screens[0].painted_s)
        spans.brokered = bool(stack.enter_context(told(run, folder)))
        sleep(SETTLED_S)
        before_s = screens[0].processor_s()
        spans.attended.append(_passing(each_s))
        spans.processor_s += screens[0].processor_s() - before_s
    sleep(LOOK_S)


def _passing(seconds: float) -> Span:
    begin_s = monotonic()
    sleep(seconds)
    return begin_s, monotonic()


async def _zero_s(run: Path) -> float:
    """When the run's clock began, by the wall's monotonic one."""
    async with Listener(run) as listener:
        while not isinstance(told := await listener.next(), Snapshot):
            pass
        return monotonic() - told.time_s


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
