"""What an `ack` board is like: its timing as measured (wires.md), and the settings it boots with."""

from __future__ import annotations

from dataclasses import dataclass, field

from controller.settings.machine import Axes
from sim.boards.board import HomeSwitch
from sim.boards.planner import Limits


@dataclass(slots=True, frozen=True)
class AckTiming:
    """Timing, sizes and variants; every figure that has no other source is measured in wires.md.

    Args:
        baud: Of the serial line.
        ring_bytes, queue_lines, slots: Receive ring without flow control, command queue, planner.
        reply_least_s, reply_most_s: End of a line to its `ok`: 2.6 to 3.2 ms, evenly between, the first byte's 0.087 ms
            taken off.
        report_s: The same for a position report: about 2 ms.
        start_s: A queued move to its first segment; chosen so that three lines in one write start in 6-8 ms.
        lone_wait_s: What a first move waits longer in an empty planner, unless `burst` moves are queued: about 106 ms
            from its line on.
        smallest_steps: Moves of fewer steps are swallowed and merged into the next.
        stretched_s: Blocks shorter than this are stretched while 2 to 7 are queued.
        segment_s: Fineness of the step rate within a move; chosen finer than anything measured.
        slowest_steps_s: Slowest rate, 32 to 120 a second by board.
        busy_s: Between two keep-alive lines; common practice, no source.
        idle_off_s: Motors lose their current after this long at standstill.
        stop_s: After a quick stop motion is possible again only 2.1 s later.
        boot_s: Opening the port to `start`; common practice, no source: a boot-loader's second and a half.
        stop_resets: Some builds restart at a quick stop.
        detailed_ok: Some boards reply `ok N12 P15 B3`.
    """

    baud: int = 115200
    ring_bytes: int = 128
    queue_lines: int = 4
    slots: int = 15
    reply_least_s: float = 0.00252
    reply_most_s: float = 0.00311
    report_s: float = 0.0020
    start_s: float = 0.0002
    lone_wait_s: float = 0.102
    burst: int = 3
    smallest_steps: int = 6
    stretched_s: float = 0.020
    segment_s: float = 0.001
    slowest_steps_s: float = 32.0
    busy_s: float = 2.0
    idle_off_s: float = 120.0
    stop_s: float = 2.1
    boot_s: float = 1.5
    stop_resets: bool = False
    detailed_ok: bool = False


@dataclass(slots=True)
class AckSettings:
    """What the board's firmware was built with: it comes back at every restart.

    Attributes:
        low_mm, high_mm: Its soft limits.
        switches: Where each axis is homed.
        unconnected: Stops that were never wired: an open input reads as triggered.
    """

    limits: Limits
    low_mm: tuple[float, float, float]
    high_mm: tuple[float, float, float]
    switches: tuple[HomeSwitch, HomeSwitch, HomeSwitch]
    unconnected: frozenset[str] = field(default_factory=lambda: frozenset({"z_min"}))

    @classmethod
    def fitting(cls, axes: Axes, switches: tuple[HomeSwitch, HomeSwitch, HomeSwitch]) -> AckSettings:
        """A board built for a machine whose z homes at the top: nothing hangs at its bottom."""
        limits = Limits(axes.steps_per_mm, axes.top_speed_mm_s, axes.acceleration_mm_s2)
        return cls(limits, axes.travel_min_mm, axes.travel_max_mm, switches)

    def booted(self) -> Limits:
        """A copy of the limits for the planner: what is changed there is lost at a restart."""
        return Limits(self.limits.steps_per_mm, self.limits.top_mm_s, self.limits.acceleration_mm_s2)
