"""What a `status` board is like: its timing as measured (wires.md) and its own numbered settings."""

from __future__ import annotations

from dataclasses import dataclass, field

from controller.settings.machine import Axes
from sim.boards.board import SLOW_SHARE, HomeSwitch
from sim.boards.planner import Limits
from sim.boards.words import S_PER_MIN

# What the boot banner says: the host must not lean on a product's name, only on the line's form.
BANNER = "Status 1.1 ['$' for help]"

# Numbered settings that this board keeps and nobody here changes; figures as a stock board has them: common practice,
# no source. Homing on: 22.
STOCK = {
    0: 10.0, 2: 0.0, 3: 0.0, 4: 0.0, 5: 0.0, 6: 0.0, 11: 0.010, 12: 0.002, 13: 0.0, 20: 0.0, 21: 0.0, 22: 1.0,
    26: 250.0, 30: 1000.0, 31: 0.0, 32: 0.0,
}  # fmt: skip
INTEGERS = frozenset((0, 1, 2, 3, 4, 5, 6, 10, 13, 20, 21, 22, 23, 26, 30, 31, 32))


@dataclass(slots=True, frozen=True)
class StatusTiming:
    """Timing and sizes; every figure that has no other source is measured in wires.md.

    Args:
        baud: Of the serial line.
        ring_bytes, line_characters: Receive ring, longest line.
        slots: Moves the planner holds: 15 free ones are reported by a stock board that stands (common practice).
        reply_s: End of a line to its `ok`: 1.2 ms, the first byte of which takes 0.087 ms.
        line_s, step_s: Work left after the reply, and for each of up to four steps, before the next line is looked at:
            440 one-step lines/s, 340 four-step lines/s.
        start_s: End of a line to the beginning of its first segment in an idle board: with a retract's first interval
            2.5-2.8 ms.
        report_s: `?` to the report's first byte: 0.2 ms, of which that byte is 0.087.
        segment_s, ahead: Prepared segments, up to five of 10 ms or of one step of the slowest rate.
        slowest_steps_s: 76 µm/s at 400 steps/mm.
        reset_s: A reset at standstill to the banner; chosen so that hold and reset take 68-81 ms.
        reset_moving_s: The same while the motors run: 508 ms until a new move starts.
        boot_s: Opening the port to the banner; common practice, no source: a boot-loader's second and a half.
        setting_s: Writing one numbered setting; common practice, no source.
        stray_error: A board says `error:` once by itself before the first command: half a line that was in its receiver
            when it started.
        wco_every: Reports from one with a work offset to the next; common practice, no source.
    """

    baud: int = 115200
    ring_bytes: int = 128
    line_characters: int = 80
    slots: int = 15
    reply_s: float = 0.00112
    line_s: float = 0.00092
    step_s: float = 0.000223
    start_s: float = 0.00240
    report_s: float = 0.000113
    segment_s: float = 0.010
    ahead: int = 5
    slowest_steps_s: float = 30.4
    reset_s: float = 0.008
    reset_moving_s: float = 0.500
    boot_s: float = 1.5
    setting_s: float = 0.004
    stray_error: bool = True
    wco_every: int = 10


@dataclass(slots=True)
class StatusSettings:
    """The board's memory that outlives a reset: numbered settings, in the board's own units (mm/min for feeds)."""

    by_number: dict[int, float] = field(default_factory=dict)

    @classmethod
    def fitting(cls, axes: Axes, switches: tuple[HomeSwitch, HomeSwitch, HomeSwitch]) -> StatusSettings:
        """A board set up well for a machine: motors always on, positions and free buffer in its reports.

        It knows one homing speed for all axes, which the top speed of each one limits, and one pull-off: that of z.
        """
        numbers = dict(STOCK)
        numbers[1], numbers[10] = 255.0, 3.0
        numbers[23] = float(sum(1 << axis for axis, switch in enumerate(switches) if switch.end < 0))
        numbers[25] = max(switch.fast_mm_s for switch in switches) * S_PER_MIN
        numbers[27] = switches[2].pull_off_mm
        numbers[24] = SLOW_SHARE * numbers[25]
        for axis in range(3):
            numbers[100 + axis] = axes.steps_per_mm[axis]
            numbers[110 + axis] = axes.top_speed_mm_s[axis] * S_PER_MIN
            numbers[120 + axis] = axes.acceleration_mm_s2[axis]
            numbers[130 + axis] = axes.travel_max_mm[axis] - axes.travel_min_mm[axis]
        return cls(numbers)

    def limits(self) -> Limits:
        """What a planner needs of them."""
        x, y, z = ([self.by_number[base + axis] for axis in range(3)] for base in (100, 110, 120))
        return Limits(
            (x[0], x[1], x[2]),
            (y[0] / S_PER_MIN, y[1] / S_PER_MIN, y[2] / S_PER_MIN),
            (z[0], z[1], z[2]),
        )

    def switch(self, axis: int) -> HomeSwitch:
        """How an axis is homed: the mask of setting 23 says which go towards the bottom."""
        numbers = self.by_number
        end = -1 if int(numbers[23]) >> axis & 1 else 1
        fast = min(numbers[25], numbers[110 + axis]) / S_PER_MIN
        return HomeSwitch(end, numbers[130 + axis], fast, numbers[27])

    def travel_mm(self, axis: int) -> float:
        """Length of an axis' travel."""
        return self.by_number[130 + axis]

    def on(self, number: int) -> bool:
        """Whether a setting that is on or off is on."""
        return bool(self.by_number[number])

    def listed(self) -> list[str]:
        """All settings as the board lists them."""
        return [f"${number}={self._written(number)}" for number in sorted(self.by_number)]

    def _written(self, number: int) -> str:
        entry = self.by_number[number]
        return str(int(entry)) if number in INTEGERS else f"{entry:.3f}"
