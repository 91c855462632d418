"""Both wires as one: observations out of bytes, bytes out of commands, one heartbeat edge a completed tick."""

from __future__ import annotations

from dataclasses import fields

import pytest

from controller.core.commands import Halt, Home, Move, Output, Switch, Turn
from controller.core.observation import BoardState, Observation
from controller.link.machine_link import MachineLink, Wire
from controller.settings.find import packaged_configs
from controller.settings.load import load_machine
from tests.link.sampler_stand_in import SamplerStandIn
from tests.link.stand_ins import AckStandIn, StatusStandIn

TICK_S = 0.01


class Rig:
    """A machine link with both stand-ins, looked at every millisecond."""

    def __init__(self, name: str) -> None:
        machine = load_machine(packaged_configs() / "machines" / f"{name}.toml")
        self.link = MachineLink(machine)
        self.board = AckStandIn(machine) if machine.motion.convention == "ack" else StatusStandIn(machine)
        self.sampler = SamplerStandIn()
        self.looks = 0

    @property
    def now_s(self) -> float:
        return self.looks * 0.001

    def look(self) -> None:
        self.looks += 1
        self.sampler.sample(600)
        for wire, stand_in in ((Wire.BOARD, self.board), (Wire.SAMPLER, self.sampler)):
            said = bytes(stand_in.said)
            stand_in.said.clear()
            self.link.receive(wire, said, self.now_s)
            written = self.link.pending(wire, self.now_s)
            if written:
                stand_in.take(written)

    def tick(self, *commands: Move | Switch | Turn | Home | Halt) -> Observation:
        for _ in range(10):
            self.look()
        seen = self.link.observe(self.now_s)
        self.link.carry_out(commands, self.now_s)
        return seen

    def connect(self) -> Rig:
        self.link.start(0.0)
        self.board.boot()
        self.sampler.boot()
        for _ in range(10_000):
            if self.link.connected:
                return self
            self.look()
        raise AssertionError(self.link.problems)

    def home(self) -> Rig:
        self.tick(Home())
        for _ in range(500):
            if self.tick().homed:
                return self
        raise AssertionError(self.link.notices())


@pytest.fixture(params=["status", "ack"])
def rig(request: pytest.FixtureRequest) -> Rig:
    return Rig(request.param).connect()


def test_before_it_is_connected_everything_looks_like_trouble() -> None:
    seen = MachineLink(load_machine(packaged_configs() / "machines" / "status.toml")).observe(0.0)
    assert seen.board is BoardState.LOST
    assert not any((seen.contact_open, seen.flow, seen.guard_closed, seen.level_ok, seen.homed))
    assert seen.stop_pressed
    assert seen.sampler_age_s > 1e6


def test_an_observation_has_every_field_from_the_wires(rig: Rig) -> None:
    rig.home()
    seen = rig.tick()
    assert seen.samples == [600] * 10
    assert seen.sampler_age_s < 0.002
    assert (seen.board, seen.homed, seen.queued) == (BoardState.READY, True, 0)
    assert (seen.x_um, seen.y_um, seen.z_um) == pytest.approx((1000.0, 1000.0, -1000.0))
    assert (seen.contact_open, seen.flow, seen.stop_pressed, seen.guard_closed, seen.level_ok) == (
        True,
        True,
        False,
        True,
        True,
    )
    assert {field.name for field in fields(Observation)} == set(Observation.__slots__)


def test_a_tick_is_one_heartbeat_edge(rig: Rig) -> None:
    before = rig.sampler.edges
    for _ in range(25):
        rig.tick()
    rig.look()
    assert rig.sampler.edges - before == 25


def test_without_ticks_there_is_no_heartbeat(rig: Rig) -> None:
    """A host that only moves bytes is dead to the gate."""
    before = rig.sampler.edges
    for _ in range(100):
        rig.look()
    assert rig.sampler.edges == before


def test_commands_go_to_the_board_they_belong_to_in_their_order(rig: Rig) -> None:
    rig.home()
    lines = len(rig.board.lines)
    rig.tick(Move(1000.0, 1000.0, -1100.0, 5000.0), Switch(Output.WATER, True), Turn(60.0))
    for _ in range(20):
        seen = rig.tick()
    told = "\n".join(rig.board.lines[lines:])
    assert told.index("G1 Z-") < told.index("S60" if isinstance(rig.board, StatusStandIn) else "M106")
    assert rig.sampler.pins[7] == 1
    assert seen.z_um == pytest.approx(-1100.0)
    assert seen.queued == 0


def test_a_move_is_queued_from_the_tick_that_sends_it(rig: Rig) -> None:
    rig.home()
    rig.tick(Move(1000.0, 1000.0, -1100.0, 5000.0))
    assert rig.link.observe(rig.now_s).queued == 1


def test_an_emergency_stop_takes_the_source_off_and_loses_the_position(rig: Rig) -> None:
    rig.home()
    rig.tick(Switch(Output.SOURCE, True))
    rig.look()
    assert rig.sampler.pins[4] == 1
    rig.link.emergency_stop(rig.now_s)
    rig.look()
    assert rig.sampler.pins[4] == 0
    assert rig.link.observe(rig.now_s).board is BoardState.LOST


def test_closing_leaves_outputs_low_and_writes_no_more_of_a_move(rig: Rig) -> None:
    rig.home()
    rig.tick(Switch(Output.WATER, True), Move(1000.0, 1000.0, -50_000.0, 5000.0))
    rig.tick()
    rig.link.close(rig.now_s)
    rig.look()
    lines = len([line for line in rig.board.lines if "G1 " in line])
    for _ in range(500):
        rig.look()
    assert len([line for line in rig.board.lines if "G1 " in line]) == lines
    assert rig.sampler.pins[7] == 0


def test_problems_of_both_wires_are_told_together() -> None:
    rig = Rig("status")
    assert isinstance(rig.board, StatusStandIn)
    rig.board.settings[1] = 25
    rig.sampler.bits = 12
    rig.link.start(0.0)
    rig.board.boot()
    rig.sampler.boot()
    assert rig.link.connecting
    while rig.link.connecting:
        rig.look()
    assert (rig.link.connected, rig.link.fit) == (False, False)
    assert {(problem.wire, problem.name) for problem in rig.link.problems} == {
        ("board", "idle lock"),
        ("sampler", "gap_channel"),
    }


def test_a_machine_with_nothing_against_it_is_fit(rig: Rig) -> None:
    assert (rig.link.connecting, rig.link.connected, rig.link.fit) == (False, True, True)


def test_notices_come_once_in_their_order(rig: Rig) -> None:
    rig.link.notices()
    rig.link.receive(Wire.BOARD, b"ok\n", rig.now_s)
    rig.look()
    assert [notice.wire for notice in rig.link.notices()] == ["board"]
    assert rig.link.notices() == []
