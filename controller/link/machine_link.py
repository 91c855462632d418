"""Both wires of a machine as one thing: bytes in, observations out; commands in, bytes out.

How a loop uses it, all times being one clock's (seconds, monotonic, from any zero):

    link = MachineLink(machine)
    link.start(now)                                 # both ports were just opened
    repeat while link.connecting:                   # takes some seconds and never blocks
        link.receive(Wire.BOARD, board_port.read(), now); link.receive(Wire.SAMPLER, sampler_port.read(), now)
        board_port.write(link.pending(Wire.BOARD, now)); sampler_port.write(link.pending(Wire.SAMPLER, now))
    if not link.fit: tell link.problems, end        # `check` goes on as long as link.connected
    every tick:
        (receive both wires as above)
        out = core.tick(link.observe(now), requests)
        link.carry_out(out.commands, now)           # with the heartbeat edge of this completed tick
        (write what is pending on both wires; the board's first when there is a retract)
    at the end:
        link.close(now), write what is pending, close the ports

Between ticks `receive` and `pending` may be called as often as bytes arrive: replies make room for what waits.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from controller.core.commands import Command, Switch, Withhold
from controller.core.observation import Observation
from controller.link.ack import AckBoard
from controller.link.board import MotionBoard
from controller.link.firmata import Sampler
from controller.link.notices import Notice, Problem
from controller.link.status import StatusBoard
from controller.settings.machine import Machine


class Wire(StrEnum):
    """The two wires."""

    BOARD = "board"
    SAMPLER = "sampler"


class MachineLink:
    """Motion board and sampler of one machine.

    Args:
        machine: The machine file.

    Attributes:
        board: The motion board, of the convention that the file names.
        sampler: The sampler board.
    """

    __slots__ = ("board", "sampler")

    def __init__(self, machine: Machine) -> None:
        self.board: MotionBoard = AckBoard(machine) if machine.motion.convention == "ack" else StatusBoard(machine)
        self.sampler = Sampler(machine)

    @property
    def connected(self) -> bool:
        """Both boards are set up and can be driven."""
        return self.board.connected and self.sampler.connected

    @property
    def connecting(self) -> bool:
        """A connect procedure is still under way."""
        return self.board.connecting or self.sampler.connecting

    @property
    def fit(self) -> bool:
        """Connected, and nothing speaks against running a job."""
        return self.connected and not self.problems

    @property
    def problems(self) -> list[Problem]:
        """What stands in the way of a run, each with its remedy; empty while all goes well."""
        return self.board.notebook.problems + self.sampler.notebook.problems

    def notices(self) -> list[Notice]:
        """What happened on the wires since the last time, to be put on record."""
        return sorted(self.board.notebook.fetch() + self.sampler.notebook.fetch(), key=lambda notice: notice.time_s)

    def start(self, time_s: float) -> None:
        """Both ports were just opened: begin to connect. Forgets whatever was before."""
        self.board.start(time_s)
        self.sampler.start(time_s)

    def receive(self, wire: Wire, received: bytes, time_s: float) -> None:
        """Take bytes that arrived on a wire. Never raises, whatever they are."""
        if wire is Wire.BOARD:
            self.board.receive(received, time_s)
        else:
            self.sampler.receive(received, time_s)

    def lose(self, wire: Wire, time_s: float, why: str) -> None:
        """A port has gone while the machine was driven."""
        if wire is Wire.BOARD:
            self.board.lose(time_s, why)
        else:
            self.sampler.lose(time_s, why)

    def pending(self, wire: Wire, time_s: float) -> bytes:
        """What is to be written on a wire now, in one go; told once."""
        return self.board.pending(time_s) if wire is Wire.BOARD else self.sampler.pending(time_s)

    def observe(self, time_s: float) -> Observation:
        """This tick's view of the machine, the samples since the last one in it."""
        board, sampler = self.board, self.sampler
        board.ledger.advance(time_s)
        x_um, y_um, z_um = board.position_um
        inputs = sampler.inputs
        return Observation(
            time_s,
            sampler.take_samples(),
            sampler.age_s(time_s),
            inputs.contact_open,
            inputs.flow,
            inputs.stop_pressed,
            inputs.guard_closed,
            inputs.level_ok,
            x_um,
            y_um,
            z_um,
            board.queued,
            board.state,
            board.homed,
            board.seeking,
        )

    def carry_out(self, commands: Sequence[Command], time_s: float) -> None:
        """Take a completed tick's commands, in their order, and issue its one heartbeat edge if it is not withheld."""
        withheld = False
        for command in commands:
            if isinstance(command, Switch):
                self.sampler.switch(command)
            elif isinstance(command, Withhold):
                withheld = True
            else:
                self.board.carry_out(command, time_s)
        if not withheld:
            self.sampler.heartbeat()

    def emergency_stop(self, time_s: float) -> None:
        """Source off and motion stopped at once; the position is lost. The core does not use it: it halts."""
        self.sampler.isolate()
        self.board.emergency_stop(time_s)

    def close(self, time_s: float) -> None:
        """The last thing before the ports are closed: outputs low, nothing further moves."""
        self.sampler.close()
        self.board.close(time_s)
