"""The sampler against a stand-in: connect, samples, inputs, outputs, heartbeat, a board that resets or falls silent."""

from __future__ import annotations

from collections.abc import Callable
from math import inf

import pytest

from controller.core.commands import Output, Switch
from controller.link.firmata import SAMPLES_MOST, Sampler
from controller.settings.machine import Machine, Pins
from controller.settings.machine import Sampler as SamplerSettings
from tests.link.sampler_stand_in import SamplerStandIn

PINS = Pins()
INPUT_PINS = [PINS.mirror_contact, PINS.flow, PINS.stop, PINS.guard, PINS.level]
OUTPUT_PINS = [PINS.source, PINS.sensing, PINS.pump, PINS.heartbeat]


class Desk:
    """A sampler link and a stand-in; a look is a millisecond, with one sample of 700 counts."""

    def __init__(self, stand_in: SamplerStandIn | None = None, pins: Pins = PINS) -> None:
        self.sampler = Sampler(Machine(name="bench", sampler=SamplerSettings(pins=pins)))
        self.board = stand_in or SamplerStandIn()
        self.looks = 0
        self.sampler.start(0.0)

    @property
    def now_s(self) -> float:
        return 0.001 * self.looks

    def look(self) -> bytes:
        self.looks += 1
        self.board.sample(700)
        said = bytes(self.board.said)
        self.board.said.clear()
        self.sampler.receive(said, self.now_s)
        written = self.sampler.pending(self.now_s)
        self.board.take(written)
        return written

    def run(self, seconds: float, *, until: Callable[[], bool] = lambda: False) -> bool:
        for _ in range(round(seconds * 1000)):
            if until():
                return True
            self.look()
        return until()

    def connect(self) -> Desk:
        self.run(2.1)
        self.board.boot()
        assert self.run(3.0, until=lambda: self.sampler.connected), self.sampler.notebook.problems
        return self


@pytest.fixture
def desk() -> Desk:
    return Desk().connect()


def test_nothing_is_written_before_the_banner() -> None:
    """wires.md: opening the port resets the board; wait for F9 (at least 5 s) before writing anything."""
    desk = Desk()
    desk.run(5.9)
    assert b"".join(desk.board.writes) == b""


def test_a_board_that_was_not_reset_by_opening_the_port_is_asked_for_its_version() -> None:
    desk = Desk()
    assert desk.run(8.0, until=lambda: desk.sampler.connected)
    assert next(written for written in desk.board.writes if written) == b"\xf9"


def test_a_silent_board_is_a_problem() -> None:
    desk = Desk(SamplerStandIn(banner=b""))
    desk.run(13.0)
    [problem] = desk.sampler.notebook.problems
    assert (problem.name, desk.sampler.connected) == ("sampler silent", False)


def test_every_output_is_low_and_every_input_pulled_up_once_connected(desk: Desk) -> None:
    assert [desk.board.modes[pin] for pin in OUTPUT_PINS] == [1, 1, 1, 1]
    assert [desk.board.pins[pin] for pin in OUTPUT_PINS] == [0, 0, 0, 0]
    assert [desk.board.modes[pin] for pin in INPUT_PINS] == [0x0B] * 5
    assert desk.board.modes[14] == 2
    assert (desk.board.interval_ms, desk.board.streaming, desk.board.reported_ports) == (1, True, {1})
    assert desk.sampler.firmware == "Sk"


def test_what_an_earlier_host_left_switched_on_goes_off_first(desk: Desk) -> None:
    """wires.md: no watchdog; FF drives every output low."""
    assert next(written for written in desk.board.writes if written).startswith(b"\xff")


@pytest.mark.parametrize("version", [b"\xf9\x02\x03", b"\xf9\x02\x06", b"\xf9\x02\x07"])
def test_other_versions_of_protocol_2_are_fine(version: bytes) -> None:
    """Single-pin writes and pull-ups came with 2.5 (from memory); before, a port is written as a whole."""
    old = version < b"\xf9\x02\x05"
    desk = Desk(SamplerStandIn(banner=version, pull_ups=not old)).connect()
    desk.sampler.switch(Switch(Output.SOURCE, True))
    assert desk.look() == (b"\x90\x10\x00" if old else b"\xf5\x04\x01")
    if old:
        assert desk.board.modes[8] == 0
        assert [desk.board.pins[pin] for pin in INPUT_PINS] == [1] * 5


def test_another_protocol_is_a_problem() -> None:
    desk = Desk(SamplerStandIn(banner=b"\xf9\x03\x00"))
    desk.board.boot()
    desk.run(1.0)
    assert desk.sampler.notebook.problems[0].found == "protocol 3.0"


@pytest.mark.parametrize(
    ("pins", "stand_in", "name"),
    [
        (Pins(source=40), SamplerStandIn(), "source"),
        (Pins(flow=41), SamplerStandIn(), "flow"),
        (Pins(gap_channel=9), SamplerStandIn(), "gap_channel"),
        (Pins(level=14), SamplerStandIn(), "gap_channel"),
        (PINS, SamplerStandIn(bits=12), "gap_channel"),
    ],
)
def test_pins_that_the_board_does_not_have_are_problems_by_name(
    pins: Pins, stand_in: SamplerStandIn, name: str
) -> None:
    desk = Desk(stand_in, pins)
    desk.board.boot()
    desk.run(1.0)
    assert [problem.name for problem in desk.sampler.notebook.problems] == [name]
    assert not desk.sampler.connected
    assert all(not desk.board.pins.get(pin) for pin in (2, 3, 4, 5, 6, 7))


def test_no_lists_is_a_problem() -> None:
    desk = Desk(SamplerStandIn(mute=True))
    desk.board.boot()
    desk.run(20.0)
    assert [problem.name for problem in desk.sampler.notebook.problems] == ["discovery"]


def test_samples_come_out_once_and_in_order(desk: Desk) -> None:
    desk.sampler.take_samples()
    for count in (0, 1023, 512):
        desk.board.streaming = True
        desk.board.sample(count)
    desk.board.streaming = False
    desk.look()
    assert desk.sampler.take_samples() == [0, 1023, 512]
    assert desk.sampler.take_samples() == []


def test_other_channels_and_readings_out_of_range_are_thrown_away(desk: Desk) -> None:
    desk.sampler.take_samples()
    desk.sampler.receive(b"\xe1\x01\x00\xe0\x00\x08\xe0\x05\x00", desk.now_s)
    assert desk.sampler.take_samples() == [5]
    assert desk.sampler.spoilt == 2


def test_samples_nobody_takes_do_not_pile_up(desk: Desk) -> None:
    desk.run(2.0)
    assert len(desk.sampler.take_samples()) == SAMPLES_MOST


def test_the_age_of_a_stream_that_stops(desk: Desk) -> None:
    """A stream that stops is a fault, not "no sparks" (wires.md): the age is what the core's guard looks at."""
    assert desk.sampler.age_s(desk.now_s) < 0.002
    desk.board.streaming = False
    desk.run(0.5)
    assert desk.sampler.age_s(desk.now_s) == pytest.approx(0.5, abs=0.002)


def test_inputs_are_well_when_low_and_trouble_until_told() -> None:
    desk = Desk()
    inputs = desk.sampler.inputs
    assert (inputs.contact_open, inputs.flow, inputs.guard_closed, inputs.level_ok) == (False,) * 4
    assert inputs.stop_pressed
    desk.connect()
    assert (inputs.contact_open, inputs.flow, inputs.guard_closed, inputs.level_ok) == (True,) * 4
    assert not inputs.stop_pressed


@pytest.mark.parametrize("name", ["contact_open", "flow", "stop_pressed", "guard_closed", "level_ok"])
def test_each_input_has_its_own_pin(desk: Desk, name: str) -> None:
    names = ["contact_open", "flow", "stop_pressed", "guard_closed", "level_ok"]
    pin = INPUT_PINS[names.index(name)]
    before = {name: getattr(desk.sampler.inputs, name) for name in names}
    desk.board.set(pin, 1)
    desk.look()
    after = {name: getattr(desk.sampler.inputs, name) for name in names}
    assert [name for name in names if before[name] != after[name]] == [name]


@pytest.mark.parametrize(
    ("output", "pin"),
    [(Output.SOURCE, PINS.source), (Output.SENSING, PINS.sensing), (Output.WATER, PINS.pump)],
)
def test_each_output_has_its_own_pin(desk: Desk, output: Output, pin: int) -> None:
    desk.sampler.switch(Switch(output, True))
    assert desk.look() == bytes([0xF5, pin, 1])
    desk.sampler.switch(Switch(output, False))
    assert desk.look() == bytes([0xF5, pin, 0])


def test_one_heartbeat_is_one_edge(desk: Desk) -> None:
    """Toggled by every completed tick: AC-coupled, so stuck high is as dead as stuck low."""
    for _ in range(10):
        desk.sampler.heartbeat()
        desk.look()
    assert desk.board.edges == 10


def test_nothing_is_switched_before_the_board_is_connected() -> None:
    desk = Desk()
    desk.sampler.switch(Switch(Output.SOURCE, True))
    desk.sampler.heartbeat()
    assert desk.look() == b""


def test_a_board_that_resets_by_itself_is_dead_until_started_again(desk: Desk) -> None:
    """Its pins float, pulled low; it streams no more, and the age tells so at once and for good."""
    desk.board.said += b"\xf9\x02\x05"
    desk.look()
    sampler = desk.sampler
    assert (sampler.connected, sampler.age_s(desk.now_s), sampler.inputs.contact_open) == (False, inf, False)
    desk.board.said += b"\xe0\x01\x00"
    desk.look()
    assert sampler.age_s(desk.now_s) == inf
    sampler.switch(Switch(Output.SOURCE, True))
    assert desk.look() == b""


def test_isolate_leaves_the_pump_and_close_leaves_nothing(desk: Desk) -> None:
    for output in Output:
        desk.sampler.switch(Switch(output, True))
    desk.look()
    desk.sampler.isolate()
    desk.look()
    assert [desk.board.pins[pin] for pin in (PINS.source, PINS.sensing, PINS.pump)] == [0, 0, 1]
    desk.sampler.close()
    assert desk.look() == b"\xf5\x04\x00\xf5\x05\x00\xff"
    assert [desk.board.pins[pin] for pin in OUTPUT_PINS] == [0, 0, 0, 0]


def test_closing_before_the_banner_writes_nothing() -> None:
    desk = Desk()
    desk.sampler.close()
    assert desk.look() == b""
