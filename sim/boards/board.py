"""What both families of motion boards share: a main loop that waits, a serial line, a planner, a homing cycle.

A board's firmware is written here as one generator, its main loop: it yields what it waits for, a moment or a condition
or both, and goes on when that has come. Interrupts are calls from outside it. So a board reads from top to bottom as
its firmware does, and time is nothing but an argument.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Generator
from dataclasses import dataclass
from math import inf

from controller.settings.machine import Axes
from sim.boards.drive import Drive
from sim.boards.planner import Planner
from sim.boards.uart import Uart

X, Y, Z = 0, 1, 2
# How often a homing cycle looks at the switches (s). Chosen: as fine as the plant behind them.
LOOK_S = 0.0005
# Search further than the travel by this before giving up; common practice, no source.
SEARCH_SHARE = 1.5
# The second, slow search against the first: common practice, no source.
SLOW_SHARE = 0.1


@dataclass(slots=True, frozen=True)
class Wait:
    """What a main loop waits for: go on at `until_s`, or as soon as `ready` says so."""

    until_s: float = inf
    ready: Callable[[], bool] | None = None


Program = Generator[Wait, None, None]
"""A main loop, or a part of one."""
Served = Generator[Wait, None, int]
"""A part of one that ends with the steps it has put into the planner."""


@dataclass(slots=True, frozen=True)
class HomeSwitch:
    """Where an axis is homed.

    Args:
        end: +1: its switch is at the top of the travel, -1 at the bottom.
        travel_mm: Length of the travel.
        fast_mm_s: Speed of the first search.
        pull_off_mm: How far it goes off the switch again.
    """

    end: int
    travel_mm: float
    fast_mm_s: float
    pull_off_mm: float


def home_ends(axes: Axes) -> tuple[int, int, int]:
    """At which end each axis' switch is, by where the machine file says it stands after homing."""
    x, y, z = (
        1 if high - at < at - low else -1
        for at, low, high in zip(axes.home_mm, axes.travel_min_mm, axes.travel_max_mm, strict=True)
    )
    return x, y, z


def home_switches(axes: Axes, fast_mm_s: float) -> tuple[HomeSwitch, HomeSwitch, HomeSwitch]:
    """How a board set up well for a machine homes it; `fast_mm_s` at the most on every axis."""
    x, y, z = (
        HomeSwitch(end, high - low, min(fast_mm_s, top), high - at if end > 0 else at - low)
        for end, at, low, high, top in zip(
            home_ends(axes), axes.home_mm, axes.travel_min_mm, axes.travel_max_mm, axes.top_speed_mm_s, strict=True
        )
    )
    return x, y, z


class MotionBoard(ABC):
    """Serial line, planner and main loop of one board.

    Args:
        uart: Its serial line.
        planner: Its planner.
        drive: What it is wired to.

    Attributes:
        now_s: Machine time.
        deaf_until_s: Until then what comes goes to the boot-loader, which answers nothing: common practice, no source.
    """

    def __init__(self, uart: Uart, planner: Planner, drive: Drive) -> None:
        self.uart = uart
        self.planner = planner
        self.drive = drive
        self.now_s = 0.0
        self.deaf_until_s = 0.0
        self._loop: Program | None = None
        self._wait: Wait | None = None

    # -- from outside -----------------------------------------------------------------------------------------------

    @abstractmethod
    def boot(self) -> None:
        """Restart, as at power-up or when a host opens the port."""

    @abstractmethod
    def _byte(self, byte: int) -> None:
        """A byte has arrived: what the receive interrupt does."""

    def receive(self, wire: bytes) -> None:
        """The host puts bytes on the line now."""
        self.uart.arrive(wire, self.now_s)

    def advance(self, to_s: float) -> bytes:
        """Let machine time pass up to `to_s`; return the bytes that have reached the host."""
        while True:
            at_s = min(self.uart.next_arrival_s, self.planner.next_s, self._next_s())
            if at_s > to_s:
                break
            self.now_s = max(self.now_s, at_s)
            self.planner.run(self.now_s)
            if self.uart.next_arrival_s <= self.now_s:
                byte = self.uart.take()
                if self.now_s >= self.deaf_until_s:
                    self._byte(byte)
            self._own(self.now_s)
            self._go_on()
        self.now_s = to_s
        self.planner.run(to_s)
        self.drive.stand(self.planner.steps)
        self._go_on()
        return self.uart.sent(to_s)

    # -- the main loop ------------------------------------------------------------------------------------------------

    def start(self, loop: Program) -> None:
        """Begin a main loop; whatever ran before is gone."""
        self._loop = loop
        self._wait = Wait(self.now_s)

    def _next_s(self) -> float:
        """When something happens by itself."""
        return self._wait.until_s if self._wait is not None else inf

    @abstractmethod
    def _own(self, now_s: float) -> None:
        """What a board's interrupts look after whenever something happened."""

    def _go_on(self) -> None:
        """Let the main loop run as far as it can."""
        while (wait := self._wait) is not None:
            if self.now_s < wait.until_s and not (wait.ready is not None and wait.ready()):
                return
            loop = self._loop
            step = next(loop, None) if loop is not None else None
            if loop is self._loop:
                self._wait = step

    def _for(self, seconds: float) -> Wait:
        return Wait(self.now_s + seconds)

    def _drained(self) -> Wait:
        return Wait(ready=lambda: self.planner.empty)

    def say(self, line: str) -> None:
        """Send a line."""
        self.uart.send(line.encode("latin-1", "replace") + b"\r\n", self.now_s)

    # -- homing -------------------------------------------------------------------------------------------------------

    def _seek(self, axis: int, switch: HomeSwitch) -> Program:
        """Search one axis' switch fast, go off it, search it slowly, go off it; raises SwitchNotFoundError."""
        per_mm = self.planner.limits.steps_per_mm[axis]
        reach = round(SEARCH_SHARE * switch.travel_mm * per_mm) * switch.end
        off = -round(switch.pull_off_mm * per_mm) * switch.end
        for share in (1.0, SLOW_SHARE):
            self._go(axis, reach if share == 1.0 else -2 * off, switch.fast_mm_s * share)
            while not self.drive.switches()[axis]:
                if self.planner.empty:
                    raise SwitchNotFoundError
                yield self._for(LOOK_S)
            self.planner.drop()
            self._go(axis, off, switch.fast_mm_s)
            yield self._drained()

    def _go(self, axis: int, steps: int, speed_mm_s: float) -> None:
        delta = [0, 0, 0]
        delta[axis] = steps
        self.planner.append(self.planner.plan((delta[X], delta[Y], delta[Z]), speed_mm_s, self.now_s))


class SwitchNotFoundError(Exception):
    """A homing cycle went all the way and no switch closed."""
