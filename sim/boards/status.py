"""A virtual motion board of the `status` convention: an `ok` or `error:N` for every line, and bytes that act at once.

The machine zero of such a board is at the top of every travel, whatever end an axis is homed at: all its positions are
negative (common practice, no source). What survives a reset are its numbered settings and, if it stood still, where it
stands; modal state, offsets and the parser's fraction of a step do not.
"""

from __future__ import annotations

import re
from math import inf

from controller.settings.units import S_PER_MS
from sim.boards.board import MotionBoard, Program, Served, SwitchNotFoundError, Wait, X, Y, Z
from sim.boards.drive import Drive
from sim.boards.planner import Planner, Steps, minus
from sim.boards.status_block import Block, LineError, Modal
from sim.boards.status_settings import BANNER, StatusSettings, StatusTiming
from sim.boards.uart import Uart
from sim.boards.words import S_PER_MIN

STATUS, HOLD, GO_ON, RESET, JOG_CANCEL = ord("?"), ord("!"), ord("~"), 0x18, 0x85
ENDS = (ord("\n"), ord("\r"))
HIGH = 0x80  # bytes from here on are never text
ALWAYS_ON = 255  # setting 1 at this figure: the motors keep their current (wires.md)
SETTING = re.compile(r"(\d{1,3})=(-?\d{1,9}(?:\.\d*)?)")
FIRST_OF_AXES = 100  # settings from here on are the axes' and must be more than nothing
# Steps over which a line's work after its reply was measured (wires.md).
MEASURED_STEPS = 4


class StatusBoard(MotionBoard):
    """One board.

    Args:
        timing: How fast it is.
        settings: Its numbered settings; written to by the host.
        drive: What it is wired to.
    """

    def __init__(self, timing: StatusTiming, settings: StatusSettings, drive: Drive) -> None:
        planner = Planner(
            settings.limits(), timing.slots, timing.segment_s, timing.ahead, timing.slowest_steps_s, whole_moves=False
        )
        super().__init__(Uart(timing.baud), planner, drive)
        self.timing = timing
        self.settings = settings
        self._ring = bytearray()
        self._line = bytearray()
        self._zero: Steps = (0, 0, 0)  # steps of the planner at the machine zero
        self._modal = Modal((0.0, 0.0, 0.0))
        self._alarm = settings.on(22)
        self._homing = self._jogging = self._cancelling = self._probing = False
        self._reports = 0
        self._idle_off_s = inf
        self._was_moving = False
        self._rev_min = 0.0

    # -- restarting ---------------------------------------------------------------------------------------------------

    def boot(self) -> None:
        """Power-up: nothing is known, and with homing fitted nothing moves before it."""
        self.planner.drop()
        self.uart.cut()
        self._zero = self.planner.steps
        self._alarm = self.settings.on(22)
        self.deaf_until_s = self.now_s + self.timing.boot_s
        self._restart(self.timing.boot_s)

    def _restart(self, after_s: float) -> None:
        self._ring.clear()
        self._line.clear()
        self.planner.drop()
        self._modal = Modal(self._standing_mm())
        self._homing = self._jogging = self._cancelling = self._probing = False
        self._reports = 0
        self._turn(0.0)
        self.drive.lock(self.settings.by_number[1] == ALWAYS_ON)
        self.start(self._main(after_s))

    def _reset(self) -> None:
        """The reset byte. Cut off in motion, a board knows that it lost steps."""
        lost = self.planner.moving or self._homing
        if lost:
            self._raise_alarm(6 if self._homing else 3)
        self._restart(self.timing.reset_moving_s if lost else self.timing.reset_s)

    def _main(self, boot_s: float) -> Program:
        yield self._for(boot_s)
        self.say("")
        self.say(BANNER)
        if self._alarm:
            self.say("[MSG:'$H'|'$X' to unlock]")
        if self.timing.stray_error:
            self.say("error:1")
        while True:
            yield Wait(ready=self._take_line)
            line = self._line.decode("latin-1")
            self._line.clear()
            yield self._for(self.timing.reply_s)
            steps = yield from self._serve(line)
            yield self._for(self.timing.line_s + self.timing.step_s * min(steps, MEASURED_STEPS))

    # -- bytes --------------------------------------------------------------------------------------------------------

    def _byte(self, byte: int) -> None:
        match byte:
            case _ if byte == STATUS:
                self.uart.send(self._report().encode("ascii"), self.now_s + self.timing.report_s)
            case _ if byte == HOLD:
                self._hold()
            case _ if byte == GO_ON:
                self.planner.resume()
            case _ if byte == RESET:
                self._reset()
            case _ if byte == JOG_CANCEL:
                if self._jogging:
                    self._cancel_jog()
            case _ if byte < HIGH and len(self._ring) < self.timing.ring_bytes:
                self._ring.append(byte)

    def _take_line(self) -> bool:
        """Move bytes from the ring to the line; True when it is whole. Nothing is read in a hold."""
        if self.planner.holding:
            return False
        while self._ring:
            byte = self._ring.pop(0)
            if byte in ENDS:
                return True
            self._line.append(byte)
        return False

    def _hold(self) -> None:
        if self._jogging:
            self._cancel_jog()
        elif not (self._alarm or self._homing):
            self.planner.hold()

    def _cancel_jog(self) -> None:
        self._cancelling = True
        self.planner.hold()

    def _own(self, now_s: float) -> None:
        if self._cancelling and self.planner.held:
            self.planner.drop()
            self._cancelling = self._jogging = False
            self._modal.at_mm = self._standing_mm()
        moving = not self.planner.empty
        if moving and not self._was_moving:
            self.drive.lock(True)
            self._idle_off_s = inf
        if self._was_moving and not moving:
            self._jogging = False
            lock_ms = self.settings.by_number[1]
            self._idle_off_s = inf if lock_ms == ALWAYS_ON else now_s + lock_ms * S_PER_MS
        self._was_moving = moving
        if now_s >= self._idle_off_s:
            self._idle_off_s = inf
            self.drive.lock(False)

    def _next_s(self) -> float:
        return min(super()._next_s(), self._idle_off_s)

    # -- the report ---------------------------------------------------------------------------------------------------

    def state(self) -> str:
        """The board's state in its own word."""
        if self._alarm and not self._homing:
            return "Alarm"
        if self._homing:
            return "Home"
        if self.planner.holding and not self._cancelling:
            return "Hold:0" if self.planner.held else "Hold:1"
        if self.planner.empty:
            return "Idle"
        return "Jog" if self._jogging else "Run"

    def _report(self) -> str:
        at_mm, offset_mm, mask = self._standing_mm(), self._modal.offset_mm, int(self.settings.by_number[10])
        if mask & 1:
            fields = [self.state(), f"MPos:{_three(at_mm)}"]
        else:
            fields = [self.state(), f"WPos:{_three(tuple(a - o for a, o in zip(at_mm, offset_mm, strict=True)))}"]
        if mask & 2:
            fields.append(f"Bf:{self.planner.free},{self.timing.ring_bytes - len(self._ring)}")
        fields.append(f"FS:{self.planner.speed_mm_s * S_PER_MIN:.0f},{self._rev_min:.0f}")
        closed = "".join(letter for letter, on in zip("XYZ", self.drive.switches(), strict=True) if on)
        pins = ("P" if self.drive.probe_closed() else "") + closed
        if pins:
            fields.append(f"Pn:{pins}")
        if self._reports % self.timing.wco_every == 0:
            fields.append(f"WCO:{_three(offset_mm)}")
        self._reports += 1
        return f"<{'|'.join(fields)}>\r\n"

    def _standing_mm(self) -> tuple[float, float, float]:
        """Machine position of the steps done (mm)."""
        per_mm = self.planner.limits.steps_per_mm
        x, y, z = minus(self.planner.steps, self._zero)
        return x / per_mm[X], y / per_mm[Y], z / per_mm[Z]

    # -- lines --------------------------------------------------------------------------------------------------------

    def _serve(self, line: str) -> Served:
        """Obey a line and reply to it, once; returns the steps it made."""
        try:
            steps = yield from self._meet(line)
        except LineError as wrong:
            self.say(f"error:{wrong.number}")
            return 0
        self.say("ok")
        return steps

    def _meet(self, line: str) -> Served:
        """Whatever a line asks for; returns the steps it made. Raises LineError."""
        if len(line) > self.timing.line_characters:
            raise LineError(11)
        if line.startswith("$"):
            return (yield from self._system(line[1:].strip().upper()))
        return (yield from self._obey(line)) if line.strip() else 0

    def _system(self, order: str) -> Served:
        """A line that begins with `$`; returns the steps it made."""
        if order.startswith("J="):
            return (yield from self._jog(order[2:]))
        if not self.planner.empty:
            raise LineError(8)
        if order == "$":
            for listed in self.settings.listed():
                self.say(listed)
        elif order == "X":
            if self._alarm:
                self._alarm = False
                self.say("[MSG:Caution: Unlocked]")
        elif order == "H":
            yield from self._home()
        else:
            self._write_setting(order)
            yield self._for(self.timing.setting_s)
        return 0

    def _write_setting(self, order: str) -> None:
        form = SETTING.fullmatch(order)
        if form is None or int(form[1]) not in self.settings.by_number:
            raise LineError(3)
        number, entry = int(form[1]), float(form[2])
        if entry < 0.0 or (entry == 0.0 and number >= FIRST_OF_AXES):
            raise LineError(4)
        self.settings.by_number[number] = entry
        self.planner.limits = self.settings.limits()

    def _jog(self, order: str) -> Served:
        if self._alarm or not (self.planner.empty or self._jogging):
            raise LineError(9)
        block = self._modal.jog(order)
        if self._outside(block.target_mm):
            raise LineError(15)
        return (yield from self._move(block, jog=True))

    def _obey(self, line: str) -> Served:
        """A line of words; returns the steps it made."""
        if self._alarm:
            raise LineError(9)
        block = self._modal.read(line)
        if block.waits:
            yield self._drained()
        if block.dwell_s is not None:
            yield self._for(block.dwell_s)
        if block.rev_min is not None:
            self._turn(block.rev_min)
        if block.new_offset:
            self._reports = 0
        if block.probing is not None:
            yield from self._probe(block)
            return 0
        return (yield from self._move(block)) if block.moves else 0

    def _move(self, block: Block, *, jog: bool = False) -> Served:
        """Put a move into the planner once there is room; returns its steps."""
        if self._outside(block.target_mm):
            self._raise_alarm(2)
            return 0
        if self.planner.free == 0:
            yield Wait(ready=lambda: self.planner.free > 0)
        self._modal.at_mm = block.target_mm
        delta = minus(self._steps_at(block.target_mm), self.planner.planned)
        if delta == (0, 0, 0):
            return 0
        ready_s = self.now_s + self.timing.start_s - self.timing.reply_s
        self.planner.append(self.planner.plan(delta, block.feed_mm_s, ready_s))
        self._jogging = jog
        self._own(self.now_s)
        return max(abs(d) for d in delta)

    def _steps_at(self, at_mm: tuple[float, float, float]) -> Steps:
        """Steps of the planner at a machine position; whatever is less than a step waits for the next move."""
        per_mm, zero = self.planner.limits.steps_per_mm, self._zero
        x, y, z = (round(at_mm[axis] * per_mm[axis]) + zero[axis] for axis in (X, Y, Z))
        return x, y, z

    def _outside(self, at_mm: tuple[float, float, float]) -> bool:
        """Beyond the soft limits, where these are on."""
        if not self.settings.on(20):
            return False
        return any(not -self.settings.travel_mm(axis) <= at_mm[axis] <= 0.0 for axis in (X, Y, Z))

    def _turn(self, rev_min: float) -> None:
        self._rev_min = rev_min
        self.drive.turn(rev_min)

    def _raise_alarm(self, number: int) -> None:
        self.planner.drop()
        self._alarm = True
        self._jogging = False
        self._modal.at_mm = self._standing_mm()
        self.say(f"ALARM:{number}")

    # -- homing and probing -------------------------------------------------------------------------------------------

    def _home(self) -> Program:
        """Reference all axes, z first; the machine zero is the top of each travel."""
        if not self.settings.on(22):
            raise LineError(5)
        self._homing = True
        self.drive.lock(True)
        try:
            for axis in (Z, X, Y):
                yield from self._seek(axis, self.settings.switch(axis))
        except SwitchNotFoundError:
            self._homing = False
            self._raise_alarm(9)
            return
        self._homing = self._alarm = False
        zero = list(self.planner.steps)
        for axis in (X, Y, Z):
            switch = self.settings.switch(axis)
            at_mm = -switch.pull_off_mm if switch.end > 0 else switch.pull_off_mm - switch.travel_mm
            zero[axis] -= round(at_mm * self.planner.limits.steps_per_mm[axis])
        self._zero = zero[X], zero[Y], zero[Z]
        self._modal.at_mm = self._standing_mm()

    def _probe(self, block: Block) -> Program:
        """Go until the probe changes; it overshoots as a hold does."""
        away, must = block.probing or (False, False)
        if self.drive.probe_closed() != away:
            self._raise_alarm(4)
            return
        yield from self._move(block)
        met_mm = None
        while not self.planner.empty and not self.planner.held:
            if met_mm is None and self.drive.probe_closed() != away:
                met_mm = self._standing_mm()
                self.planner.hold()
            yield Wait(min(self.now_s + PROBE_LOOK_S, self.planner.next_s))
        self.planner.drop()
        self._modal.at_mm = self._standing_mm()
        self.say(f"[PRB:{_three(met_mm or self._standing_mm())}:{int(met_mm is not None)}]")
        if met_mm is None and must:
            self._raise_alarm(5)


# How often a probing move looks at its input (s). Chosen: as fine as the plant behind it.
PROBE_LOOK_S = 0.0005


def _three(at_mm: tuple[float, ...]) -> str:
    return ",".join(f"{mm:.3f}" for mm in at_mm)
