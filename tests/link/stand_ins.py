"""Stand-ins for the two conventions' boards, as little as the tests need, written from wires.md.

They execute at once what they take (or when told to), count whole steps exactly as decimal fractions, and can be made
to spoil what goes over the wire. They know nothing of time: `Bench` gives them that.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from functools import reduce
from operator import xor

from controller.core.observation import BoardState
from controller.link.ack import AckBoard
from controller.link.board import MotionBoard
from controller.link.status import StatusBoard
from controller.settings.machine import Axes, Machine, Motion, Spindle

Spoil = Callable[[bytes], bytes]
LOOK_S = 0.001


def machine(convention: str = "status", *, z_steps_per_mm: float = 400.0, fitted: bool = False) -> Machine:
    """A machine of the shipped kind."""
    if convention == "ack":
        z_steps_per_mm = 3200.0
    return Machine(
        name="bench",
        axes=Axes(steps_per_mm=(80.0, 80.0, z_steps_per_mm)),
        motion=Motion(convention="ack" if convention == "ack" else "status"),
        spindle=Spindle(fitted=fitted),
    )


class StandIn:
    """What both have in common."""

    def __init__(self, steps_per_mm: tuple[float, float, float]) -> None:
        self.steps_per_mm = steps_per_mm
        self.mm = [Decimal(0), Decimal(0), Decimal(0)]
        self.lines: list[str] = []
        self.writes: list[bytes] = []
        self.said = bytearray()
        self.begun = b""
        self.relative = False

    def steps(self) -> tuple[int, int, int]:
        """Whole steps: the board rounds the sum of what it was told."""
        x, y, z = (round(mm * Decimal(per)) for mm, per in zip(self.mm, self.steps_per_mm, strict=True))
        return x, y, z

    def say(self, line: str) -> None:
        self.said += line.encode("latin-1") + b"\r\n"

    def take(self, written: bytes) -> None:
        self.writes.append(written)
        for line in self.cut(written):
            self.lines.append(line)
            self.line(line)

    def cut(self, written: bytes) -> list[str]:
        *whole, self.begun = (self.begun + written).split(b"\n")
        return [line.decode("latin-1") for line in whole]

    def line(self, line: str) -> None:
        raise NotImplementedError

    def go(self, words: str) -> None:
        assert self.relative or "G91" in words, "an absolute move"
        for letter, number in re.findall(r"([XYZ])(-?[0-9.]+)", words):
            self.mm["XYZ".index(letter)] += Decimal(number)


class StatusStandIn(StandIn):
    """A `status` board. `moving` makes it report Run; `mute` keeps it from answering."""

    BANNER = "Board 1.1 ['$' for help]"

    def __init__(self, of: Machine) -> None:
        super().__init__(of.axes.steps_per_mm)
        axes = of.axes
        self.settings: dict[int, float] = {1: 255, 10: 3}
        for axis in range(3):
            self.settings[100 + axis] = axes.steps_per_mm[axis]
            self.settings[110 + axis] = axes.top_speed_mm_s[axis] * 60
            self.settings[120 + axis] = axes.acceleration_mm_s2[axis]
            self.settings[130 + axis] = axes.travel_max_mm[axis] - axes.travel_min_mm[axis]
        self.moving = self.mute = self.locked = False
        self.resets = 0
        self.asked = 0
        self.home_answer = "ok"

    def boot(self) -> None:
        self.relative = False
        self.begun = b""
        self.say("")
        self.say(self.BANNER)

    def lose_power(self) -> None:
        """A reset of its own."""
        self.mm = [Decimal(0), Decimal(0), Decimal(0)]
        self.locked = True
        self.boot()
        self.say("[MSG:'$H'|'$X' to unlock]")

    def cut(self, written: bytes) -> list[str]:
        if b"\x18" in written:
            written = written.rpartition(b"\x18")[2]
            self.resets += 1
            self.boot()
        for _ in range(written.count(b"?")):
            self.asked += 1
            if not self.mute:
                self.report()
        return super().cut(written.replace(b"?", b""))

    def report(self) -> None:
        state = "Alarm" if self.locked else "Run" if self.moving else "Idle"
        x, y, z = (steps / per for steps, per in zip(self.steps(), self.steps_per_mm, strict=True))
        self.say(f"<{state}|MPos:{x:.3f},{y:.3f},{z:.3f}|Bf:15,128|FS:0,0>")

    def line(self, line: str) -> None:
        if self.mute:
            return
        if line == "$$":
            for number, figure in self.settings.items():
                self.say(f"${number}={figure:.3f}" if number >= 100 else f"${number}={figure:.0f}")
        elif line == "$X":
            self.locked = False
        elif line == "$H":
            self.home()
            return
        elif self.locked or re.search(r"\.[0-9]*\.", line):
            # A number with two points is none: noise can make one.
            self.say("error:9" if self.locked else "error:2")
            return
        elif line == "G21 G91 G94":
            self.relative = True
        elif line.startswith("G91 G1"):
            self.go(line)
        elif line[:2] not in ("M3", "M4", "M5"):
            self.say("error:20")
            return
        self.say("ok")

    def home(self) -> None:
        if self.home_answer == "ok":
            self.locked = False
            self.mm = [Decimal(-219), Decimal(-219), Decimal(-1)]
        self.say(self.home_answer)


class AckStandIn(StandIn):
    """An `ack` board that swallows moves of fewer than six steps, merging them into the next."""

    def __init__(self, of: Machine) -> None:
        super().__init__(of.axes.steps_per_mm)
        self.last = 0
        self.unknown: tuple[str, ...] = ()
        self.done = (0, 0, 0)
        self.advanced = self.mute = False
        self.end_stop = "open"
        self.wrong_lines: list[str] = []

    def boot(self) -> None:
        self.last = 0
        self.relative = False
        self.begun = b""
        self.mm = [Decimal(0), Decimal(0), Decimal(0)]
        self.done = (0, 0, 0)
        self.say("start")
        self.say("echo:some settings")

    def line(self, line: str) -> None:
        if self.mute or not line.strip():
            return
        if not line.startswith("N"):
            if line == "M110 N0":
                self.last = 0
            elif line != "M410":
                self.say(f'echo:Unknown command: "{line}"')
            self.say("ok")
            return
        found = re.fullmatch(r"N(\d+) ([^*]*)\*(\d+)", line)
        if found is None or reduce(xor, line.rpartition("*")[0].encode("latin-1"), 0) != int(found[3]):
            self.refuse(line, "checksum mismatch")
        elif int(found[1]) != self.last + 1:
            self.refuse(line, "Line Number is not Last Line Number+1")
        else:
            self.last += 1
            self.obey(found[2])

    def refuse(self, line: str, why: str) -> None:
        self.wrong_lines.append(line)
        self.say(f"Error:{why}, Last Line: {self.last}")
        self.say(f"Resend: {self.last + 1}")
        self.say("ok")

    def obey(self, words: str) -> None:
        if words.startswith(self.unknown) and self.unknown:
            self.say(f'echo:Unknown command: "{words}"')
        elif words == "G91":
            self.relative = True
        elif words.startswith("G1 "):
            self.go(words)
            steps = self.steps()
            if max(abs(a - b) for a, b in zip(steps, self.done, strict=True)) >= 6:
                self.done = steps
        elif words == "M114":
            x, y, z = self.done
            self.say(f"X:0.00 Y:0.00 Z:0.00 E:0.00 Count X:{x} Y:{y} Z:{z}")
        elif words == "M119":
            self.say("Reporting endstop status")
            self.say(f"z_min: {self.end_stop}")
        elif words.startswith("G28"):
            self.say("echo:busy: processing")
            self.mm = [Decimal(0), Decimal(0), Decimal(200)]
            self.done = self.steps()
        self.say(f"ok N{self.last} P15 B3" if self.advanced else "ok")


class Bench:
    """A board link and a stand-in, with a wire between them that takes a millisecond and may spoil what it carries."""

    def __init__(self, convention: str = "status", *, fitted: bool = False) -> None:
        self.machine = machine(convention, fitted=fitted)
        self.board: MotionBoard
        self.stand_in: StandIn
        if convention == "ack":
            self.board, self.stand_in = AckBoard(self.machine), AckStandIn(self.machine)
        else:
            self.board, self.stand_in = StatusBoard(self.machine), StatusStandIn(self.machine)
        self.looks = 0
        self.to_board: Spoil = bytes
        self.to_host: Spoil = bytes

    @property
    def now_s(self) -> float:
        return self.looks * LOOK_S

    @property
    def status(self) -> StatusStandIn:
        assert isinstance(self.stand_in, StatusStandIn)
        return self.stand_in

    @property
    def ack(self) -> AckStandIn:
        assert isinstance(self.stand_in, AckStandIn)
        return self.stand_in

    def look(self) -> bytes:
        """One millisecond: what the board said arrives, what is due is written."""
        self.looks += 1
        said = bytes(self.stand_in.said)
        self.stand_in.said.clear()
        if said:
            self.board.receive(self.to_host(said), self.now_s)
        written = self.board.pending(self.now_s)
        if written:
            self.stand_in.take(self.to_board(written))
        return written

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds / LOOK_S)):
            self.look()

    def until(self, true: Callable[[], bool], seconds: float) -> bool:
        for _ in range(round(seconds / LOOK_S)):
            if true():
                return True
            self.look()
        return true()

    def connect(self) -> Bench:
        """Open the port, let the board boot, connect."""
        self.board.start(self.now_s)
        self.run(0.1)
        assert isinstance(self.stand_in, StatusStandIn | AckStandIn)
        self.stand_in.boot()
        assert self.until(lambda: self.board.connected, 10.0), self.board.notebook.problems
        return self

    def home(self) -> Bench:
        from controller.core.commands import Home

        self.board.carry_out(Home(), self.now_s)
        assert self.until(lambda: self.board.homed, 10.0), self.notes()
        assert self.board.state is BoardState.READY
        return self

    def drained(self, seconds: float = 20.0) -> bool:
        return self.until(lambda: not self.board.queued, seconds)

    def notes(self) -> list[str]:
        return [notice.what for notice in self.board.notebook.fetch()]

    def z_um(self) -> float:
        return self.board.position_um[2]
