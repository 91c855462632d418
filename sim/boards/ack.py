"""A virtual motion board of the `ack` convention: an `ok` for every line, and it means queued.

All positions are those of the machine file's frame. Nothing survives a restart. What the host believes and what the
motors did part company in three ways, all kept here: a move too short is swallowed until the next covers its way; a
move into a stop that reads as triggered is cut to nothing; a move beyond the soft limits ends at them.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from sim.boards.ack_lines import Intake
from sim.boards.ack_settings import AckSettings, AckTiming
from sim.boards.board import MotionBoard, Program, SwitchNotFoundError, Wait, X, Y, Z
from sim.boards.drive import Drive
from sim.boards.planner import Planner, Steps, minus, plus
from sim.boards.uart import Uart
from sim.boards.words import S_PER_MIN, BadWordError, single, words_of

AXES = "XYZ"
S_PER_MS = 0.001
# Feed before the first F word (mm/s): common practice, no source.
FIRST_FEED_MM_S = 25.0
# Full scale of an output's S word: common practice, no source.
FULL = 255.0
# Lines that are heard as soon as they are there, whatever waits before them (an emergency parser: common practice).
KILL, QUICK_STOP = "M112", "M410"


class AckBoard(MotionBoard):
    """One board.

    Args:
        timing: How fast it is, and which variant.
        settings: What it was built with.
        drive: What it is wired to.
        uniform: Draws from [0, 1), for the scatter of its replies.
        full_rev_min: Speed of a spindle at the full fan output.
    """

    def __init__(
        self,
        timing: AckTiming,
        settings: AckSettings,
        drive: Drive,
        uniform: Callable[[], float],
        full_rev_min: float = 0.0,
    ) -> None:
        planner = Planner(
            settings.booted(), timing.slots, timing.segment_s, 0, timing.slowest_steps_s, whole_moves=True
        )
        super().__init__(Uart(timing.baud), planner, drive)
        self.timing = timing
        self.settings = settings
        self._uniform = uniform
        self._full_rev_min = full_rev_min
        self.intake = Intake(timing.ring_bytes, timing.queue_lines, self.say)
        self.outputs: dict[int, float] = {}
        self._orders: dict[str, Callable[[dict[str, float]], Program | None]] = {
            "G4": self._dwell, "G28": self._home, "G90": self._absolutely, "G91": self._relatively,
            "G92": self._set_position, "M42": self._output, "M84": self._motors_off, "M92": self._steps_per_mm,
            "M106": self._fan, "M107": self._fan_off, "M110": self._counted, "M114": self._position,
            "M115": self._name, "M119": self._stops, "M121": self._stops_off, "M201": self._acceleration,
            "M203": self._top_speed, "M204": self._accepted, "M205": self._stretching, "M211": self._soft_limits,
            "M400": self._finish, "M410": self._quick_stop,
        }  # fmt: skip
        self._fixed_idle_off_s: float | None = None
        self._forget()

    def _forget(self) -> None:
        """Everything as it is after a restart."""
        self._zero: Steps = self.planner.steps
        self._behind: Steps = (0, 0, 0)  # moves cut to nothing: the planner believes it is this much further
        self._at_mm = [0.0, 0.0, 0.0]
        self._feed_mm_s = FIRST_FEED_MM_S
        self._absolute = True
        self._soft = self._stops_on = True
        self._stretched_s = self.timing.stretched_s
        fixed_s = self._fixed_idle_off_s
        self._idle_off_s = self.timing.idle_off_s if fixed_s is None else fixed_s
        self._off_at_s = inf
        self._no_motion_until_s = 0.0
        self._was_moving = self._killed = False
        self._tail = bytearray()

    # -- restarting ---------------------------------------------------------------------------------------------------

    def boot(self) -> None:
        """Restart: the position is taken for zero, whatever it is."""
        self.planner.drop()
        self.planner.limits = self.settings.booted()
        self.uart.cut()
        self.intake.clear()
        self._forget()
        self.drive.lock(False)
        self.drive.turn(0.0)
        self.deaf_until_s = self.now_s + self.timing.boot_s
        self.start(self._main())

    def build_without_idle_lock(self, idle_off_s: float) -> None:
        """A fault: firmware that takes the motors' current away after this long at standstill (s), whoever asks."""
        self._fixed_idle_off_s = self._idle_off_s = idle_off_s

    def _main(self) -> Program:
        yield self._for(self.timing.boot_s)
        self.intake.clear()
        self.say("start")
        self.say("echo: External Reset")
        self.say("echo:Hardcoded Default Settings Loaded")
        while True:
            yield Wait(ready=self._has_command)
            text, number = self.intake.queue[0]
            yield self._for(self._service_s(text))
            yield from self._obey(text)
            self.intake.queue.popleft()
            self._reply(number)

    def _reply(self, number: int | None) -> None:
        if not self.timing.detailed_ok:
            self.say("ok")
            return
        counted = f" N{number}" if number is not None else ""
        self.say(f"ok{counted} P{self.planner.free} B{self.intake.free}")

    def _service_s(self, text: str) -> float:
        if text.startswith("M114"):
            return self.timing.report_s
        least_s, most_s = self.timing.reply_least_s, self.timing.reply_most_s
        return least_s + (most_s - least_s) * self._uniform()

    # -- bytes --------------------------------------------------------------------------------------------------------

    def _byte(self, byte: int) -> None:
        if self._killed:
            return
        self.intake.byte(byte)
        if byte != ord("\n"):
            self._tail.append(byte)
            return
        line = self._tail.decode("latin-1")
        self._tail.clear()
        if KILL in line:
            self._kill()

    def _kill(self) -> None:
        self._killed = True
        self.planner.drop()
        self.drive.lock(False)
        self.drive.turn(0.0)
        self.say("Error:Printer halted. kill() called!")
        self.start(self._dead())

    def _dead(self) -> Program:
        yield Wait()

    def _has_command(self) -> bool:
        self.intake.collect()
        return bool(self.intake.queue)

    def _own(self, now_s: float) -> None:
        moving = not self.planner.empty
        if moving:
            self._off_at_s = inf
            if not self._was_moving:
                self.drive.lock(True)
        elif self._was_moving and self._idle_off_s > 0.0:
            self._off_at_s = now_s + self._idle_off_s
        self._was_moving = moving
        if now_s >= self._off_at_s:
            self._off_at_s = inf
            self.drive.lock(False)

    def _next_s(self) -> float:
        return min(super()._next_s(), self._off_at_s)

    # -- commands -----------------------------------------------------------------------------------------------------

    def _obey(self, text: str) -> Program:
        try:
            words = words_of(text, lone=0.0)
        except BadWordError:
            words = []
        name = f"{words[0][0]}{words[0][1]:g}" if words else ""
        numbers = dict(words[1:])
        order = self._orders.get(name)
        if name == "M84" and "S" in numbers and self._fixed_idle_off_s is not None:
            order = None
        if name in {"G0", "G1"}:
            yield from self._move(numbers)
        elif order is not None:
            yield from order(numbers) or ()
        else:
            self.say(f'echo:Unknown command: "{text}"')

    def _busy_until(self, ready: Callable[[], bool], until_s: float = inf) -> Program:
        """Wait, and say now and then that the board is alive."""
        while not ready() and self.now_s < until_s:
            says_s = self.now_s + self.timing.busy_s
            yield Wait(min(says_s, until_s), ready)
            if self.now_s >= says_s:
                self.say("echo:busy: processing")

    def _finish(self, _: dict[str, float]) -> Program:
        yield from self._busy_until(lambda: self.planner.empty)

    def _dwell(self, numbers: dict[str, float]) -> Program:
        yield from self._finish(numbers)
        ends_s = self.now_s + numbers.get("S", numbers.get("P", 0.0) * S_PER_MS)
        yield from self._busy_until(lambda: False, ends_s)

    def _absolutely(self, _: dict[str, float]) -> None:
        self._absolute = True

    def _relatively(self, _: dict[str, float]) -> None:
        self._absolute = False

    def _set_position(self, numbers: dict[str, float]) -> Program:
        yield from self._finish(numbers)
        per_mm = self.planner.limits.steps_per_mm
        zero = list(self._zero)
        believed = plus(self.planner.planned, self._behind)
        for axis, letter in enumerate(AXES):
            if letter in numbers:
                self._at_mm[axis] = numbers[letter]
                zero[axis] = believed[axis] - round(numbers[letter] * per_mm[axis])
        self._zero = zero[X], zero[Y], zero[Z]

    def _output(self, numbers: dict[str, float]) -> None:
        self.outputs[int(numbers.get("P", -1))] = numbers.get("S", 0.0)

    def _fan(self, numbers: dict[str, float]) -> None:
        self.drive.turn(self._full_rev_min * min(max(numbers.get("S", FULL), 0.0), FULL) / FULL)

    def _fan_off(self, _: dict[str, float]) -> None:
        self.drive.turn(0.0)

    def _motors_off(self, numbers: dict[str, float]) -> Program:
        if "S" in numbers:
            self._idle_off_s = numbers["S"]
            if self._idle_off_s <= 0.0:
                self._off_at_s = inf
            return
        yield from self._finish(numbers)
        self.drive.lock(False)

    def _counted(self, numbers: dict[str, float]) -> None:
        self.intake.last = int(numbers.get("N", self.intake.last))

    def _accepted(self, _: dict[str, float]) -> None:
        """Heard and without an effect here: one acceleration serves all moves."""

    # -- settings -----------------------------------------------------------------------------------------------------

    def _steps_per_mm(self, numbers: dict[str, float]) -> None:
        limits = self.planner.limits
        limits.steps_per_mm = self._changed("M92", limits.steps_per_mm, numbers)

    def _acceleration(self, numbers: dict[str, float]) -> None:
        limits = self.planner.limits
        limits.acceleration_mm_s2 = self._changed("M201", limits.acceleration_mm_s2, numbers)

    def _top_speed(self, numbers: dict[str, float]) -> None:
        limits = self.planner.limits
        limits.top_mm_s = self._changed("M203", limits.top_mm_s, numbers)

    def _changed(
        self, name: str, now: tuple[float, float, float], numbers: dict[str, float]
    ) -> tuple[float, float, float]:
        """A setting of all axes with those changed that are named; with none named it is told."""
        if not any(letter in numbers for letter in AXES):
            self.say(f"echo:  {name} " + " ".join(f"{a}{each:.2f}" for a, each in zip(AXES, now, strict=True)))
            return now
        x, y, z = (numbers.get(letter, old) for letter, old in zip(AXES, now, strict=True))
        return (x, y, z) if min(x, y, z) > 0.0 else now

    def _stretching(self, numbers: dict[str, float]) -> None:
        """M205 B (or Q): the shortest block that is not stretched, in microseconds."""
        for letter in "BQ":
            if letter in numbers:
                self._stretched_s = numbers[letter] * 1e-6

    def _soft_limits(self, numbers: dict[str, float]) -> None:
        if "S" in numbers:
            self._soft = bool(numbers["S"])
        self.say(f"echo:Soft endstops: {'ON' if self._soft else 'OFF'}")

    # -- reports ------------------------------------------------------------------------------------------------------

    def _position(self, _: dict[str, float]) -> None:
        """Where the last move ends, and what the steppers count now."""
        asked = " ".join(f"{letter}:{at:.2f}" for letter, at in zip(AXES, self._at_mm, strict=True))
        counts = minus(plus(self.planner.steps, self._behind), self._zero)
        self.say(f"{asked} E:0.00 Count " + " ".join(f"{a}:{n}" for a, n in zip(AXES, counts, strict=True)))

    def _name(self, _: dict[str, float]) -> None:
        self.say("FIRMWARE_NAME:virtual ack board PROTOCOL_VERSION:1.0 MACHINE_TYPE:virtual EXTRUDER_COUNT:0")

    def _stops(self, _: dict[str, float]) -> None:
        self.say("Reporting endstop status")
        for name, triggered in self._stop_levels().items():
            self.say(f"{name}: {'TRIGGERED' if triggered else 'open'}")

    def _stop_levels(self) -> dict[str, bool]:
        """All stop inputs by name: the homing switches, and what was never connected."""
        closed = self.drive.switches()
        levels = {
            f"{letter.lower()}_{'max' if switch.end > 0 else 'min'}": on
            for letter, switch, on in zip(AXES, self.settings.switches, closed, strict=True)
        }
        return levels | dict.fromkeys(sorted(self.settings.unconnected), True)

    def _stops_off(self, _: dict[str, float]) -> None:
        self._stops_on = False

    # -- moving -------------------------------------------------------------------------------------------------------

    def _move(self, numbers: dict[str, float]) -> Program:
        if "F" in numbers:
            self._feed_mm_s = numbers["F"] / S_PER_MIN
        for axis, letter in enumerate(AXES):
            if letter in numbers:
                base_mm = 0.0 if self._absolute else self._at_mm[axis]
                self._at_mm[axis] = single(self._within(axis, single(base_mm) + single(numbers[letter])))
        delta = minus(self._target(), plus(self.planner.planned, self._behind))
        if max(abs(d) for d in delta) < self.timing.smallest_steps:
            return
        yield from self._busy_until(lambda: self.planner.free > 0)
        if self._stops_on and self._into_a_stop(delta):
            self._behind = plus(self._behind, delta)
            return
        self._queue(delta)
        self._own(self.now_s)

    def _within(self, axis: int, at_mm: float) -> float:
        if not self._soft:
            return at_mm
        return min(max(at_mm, self.settings.low_mm[axis]), self.settings.high_mm[axis])

    def _target(self) -> Steps:
        per_mm = self.planner.limits.steps_per_mm
        x, y, z = (round(self._at_mm[axis] * per_mm[axis]) + self._zero[axis] for axis in (X, Y, Z))
        return x, y, z

    def _into_a_stop(self, delta: Steps) -> bool:
        levels = self._stop_levels()
        return any(
            d != 0 and levels.get(f"{letter.lower()}_{'max' if d > 0 else 'min'}", False)
            for letter, d in zip(AXES, delta, strict=True)
        )

    def _queue(self, delta: Steps) -> None:
        """Put a move into the planner; the first one in an empty planner waits for company."""
        planner, timing = self.planner, self.timing
        starts_s = max(self.now_s + timing.start_s, self._no_motion_until_s)
        first = planner.empty
        move = planner.plan(delta, self._feed_mm_s, starts_s + (timing.lone_wait_s if first else 0.0))
        queued = planner.queued
        takes_s = move.length_mm / move.nominal_mm_s
        if 2 <= queued < (timing.slots + 1) // 2 and takes_s < self._stretched_s:
            move.nominal_mm_s = move.length_mm / (takes_s + 2.0 * (self._stretched_s - takes_s) / queued)
        planner.append(move)
        if not planner.moving and len(planner.moves) >= timing.burst:
            planner.moves[0].ready_s = min(planner.moves[0].ready_s, starts_s)

    def _quick_stop(self, _: dict[str, float]) -> Program:
        if self.timing.stop_resets:
            self.boot()
            yield Wait()
        self.planner.drop()
        self._no_motion_until_s = self.now_s + self.timing.stop_s
        stands = minus(plus(self.planner.steps, self._behind), self._zero)
        self._at_mm = [n / per for n, per in zip(stands, self.planner.limits.steps_per_mm, strict=True)]

    def _home(self, numbers: dict[str, float]) -> Program:
        """Reference the axes named, or all; z first. Searching goes on whatever the stops are set to."""
        yield from self._finish(numbers)
        named = [axis for axis in (Z, X, Y) if AXES[axis] in numbers] or [Z, X, Y]
        self.drive.lock(True)
        says_s = self.now_s + self.timing.busy_s
        for axis in named:
            try:
                for wait in self._seek(axis, self.settings.switches[axis]):
                    yield wait
                    if self.now_s >= says_s:
                        self.say("echo:busy: processing")
                        says_s = self.now_s + self.timing.busy_s
            except SwitchNotFoundError:
                self.planner.drop()
                self.say("Error:Homing Failed")
                self._kill()
                yield Wait()
            self._reference(axis)

    def _reference(self, axis: int) -> None:
        """The axis stands pulled off its switch: that is where it is."""
        switch = self.settings.switches[axis]
        end_mm = (self.settings.high_mm if switch.end > 0 else self.settings.low_mm)[axis]
        at_mm = end_mm - switch.end * switch.pull_off_mm
        behind, zero = list(self._behind), list(self._zero)
        behind[axis] = 0
        zero[axis] = self.planner.planned[axis] - round(at_mm * self.planner.limits.steps_per_mm[axis])
        self._behind, self._zero = (behind[X], behind[Y], behind[Z]), (zero[X], zero[Y], zero[Z])
        self._at_mm[axis] = at_mm
