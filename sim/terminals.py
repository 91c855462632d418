"""The screw terminals of both boards: what the plant's true parts look like from there.

Outputs are high = on, with a pull-down each, so that a floating pin is off (electrics.md). Inputs are switches to
ground, closed when all is well, read against a pull-up: a broken wire reads as trouble. A floating input, without its
pull-up, reads low: the worst it could say.
"""

from __future__ import annotations

from collections.abc import Callable

from controller.core.commands import Output
from controller.core.observation import Observation
from controller.settings.machine import Pins as PinNumbers
from sim.boards.planner import Steps
from sim.machine import VirtualMachine

X, Y, Z = 0, 1, 2
TOP_READING = 1023
# How far a motor without current turns by itself: to its nearest full step, half of one at the most. Chosen: 16
# micro-steps a full step, common practice.
LET_GO_STEPS = 8.0


class Motors:
    """A motion board's end of the plant.

    Args:
        machine: The plant.
        um_per_step: Of each axis.
        ends: Where each axis' homing switch is: +1 at the top of its travel, -1 at the bottom.
        repeat_um: A switch closes anywhere within plus and minus this.
        uniform: Draws from [0, 1).

    Attributes:
        signs: -1 for an axis whose motor is plugged in the wrong way round.
        locked: The motors have current.
    """

    def __init__(
        self,
        machine: VirtualMachine,
        um_per_step: tuple[float, float, float],
        ends: tuple[int, int, int],
        repeat_um: float,
        uniform: Callable[[], float],
    ) -> None:
        self._machine = machine
        self._um_per_step = um_per_step
        self._ends = ends
        self._repeat_um = repeat_um
        self._uniform = uniform
        self._seen: Steps = (0, 0, 0)
        self._late_um = [self._switch_um() for _ in ends]
        self._was_closed = [False, False, False]
        self.signs = [1, 1, 1]
        self.locked = False

    def stand(self, steps: Steps) -> None:
        """Take the motors to these steps of the board's own count."""
        seen = self._seen
        if steps == seen:
            return
        self._seen = steps
        if self.locked:
            dx, dy, dz = (sign * (new - old) for sign, new, old in zip(self.signs, steps, seen, strict=True))
            self._machine.axes.step(dx, dy, dz)

    def lock(self, on: bool) -> None:
        """Current on or off; let go, every motor turns to its nearest full step."""
        if self.locked and not on:
            for axis in (X, Y, Z):
                steps = LET_GO_STEPS * (2.0 * self._uniform() - 1.0)
                self._machine.axes.slip(axis, steps * self._um_per_step[axis])
        self.locked = on

    def switches(self) -> tuple[bool, bool, bool]:
        """Homing switches; each closes a little elsewhere every time."""
        x, y, z = (self._closed(axis) for axis in (X, Y, Z))
        return x, y, z

    def turn(self, rev_min: float) -> None:
        """The spindle."""
        self._machine.turn(rev_min)

    def probe_closed(self) -> bool:
        """Nothing is wired to the board's probe input: contact is sensed at the sampler."""
        return False

    def _closed(self, axis: int) -> bool:
        closed = self._machine.axes.at_switch(axis, self._ends[axis], self._late_um[axis])
        if self._was_closed[axis] and not closed:
            self._late_um[axis] = self._switch_um()
        self._was_closed[axis] = closed
        return closed

    def _switch_um(self) -> float:
        return self._repeat_um * (2.0 * self._uniform() - 1.0)


class Pins:
    """A sampler's end of the plant.

    Args:
        machine: The plant.
        numbers: What is wired where.
        normal: Draws from the standard normal distribution, for the fault below.

    Attributes:
        seen: What the plant said last.
        heartbeat_supplied: The charge pump behind the heartbeat has its supply.
        noise_counts: Noise on the gap pin beyond the plant's own (standard deviation).
    """

    def __init__(self, machine: VirtualMachine, numbers: PinNumbers, normal: Callable[[], float]) -> None:
        self._machine = machine
        self._numbers = numbers
        self._outputs = {numbers.source: Output.SOURCE, numbers.sensing: Output.SENSING, numbers.pump: Output.WATER}
        self._normal = normal
        self._beat = False
        self._reading = 0
        self._open: dict[int, bool] = {}
        self.heartbeat_supplied = True
        self.noise_counts = 0.0

    def look(self, seen: Observation) -> None:
        """Take what the plant said of the last piece of time."""
        numbers = self._numbers
        if seen.samples:
            self._reading = seen.samples[-1]
        self._open = {
            numbers.mirror_contact: not seen.contact_open,
            numbers.flow: not seen.flow,
            numbers.stop: seen.stop_pressed,
            numbers.guard: not seen.guard_closed,
            numbers.level: not seen.level_ok,
        }

    def read(self, pin: int, *, pulled_up: bool) -> bool:
        """Level of an input: high when its switch is open and a pull-up is there, or when nothing is wired to it."""
        return pulled_up and self._open.get(pin, True)

    def write(self, pin: int, high: bool, now_s: float) -> None:
        """Level of an output."""
        if pin == self._numbers.heartbeat:
            if high != self._beat and self.heartbeat_supplied:
                self._machine.contacts.heartbeat(now_s)
            self._beat = high
            return
        output = self._outputs.get(pin)
        if output is not None:
            self._machine.contacts.switch(output, high, now_s)

    def analog(self, channel: int) -> int:
        """The gap pin's reading; nothing is wired to the other channels."""
        if channel != self._numbers.gap_channel:
            return 0
        if self.noise_counts <= 0.0:
            return self._reading
        return min(max(round(self._reading + self.noise_counts * self._normal()), 0), TOP_READING)
