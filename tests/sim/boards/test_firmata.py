"""The virtual sampler in virtual time. Bytes: open Firmata protocol 2.x; forms and figures: wires.md."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from sim.boards.firmata import FirmataBoard, FirmataTiming

BYTE_S = 10.0 / 57600.0
SAMPLE_EVERY_MS = bytes((0xF0, 0x7A, 1, 0, 0xF7))


class Bench:
    """Pins on a table: what was written to them, and levels and readings that a test sets."""

    def __init__(self, booted: bool = True) -> None:
        chance = random.Random(1)
        self.written: list[tuple[float, int, bool]] = []
        self.levels: dict[int, bool] = {}
        self.reading = 512
        self.pulled: dict[int, bool] = {}
        self.board = FirmataBoard(FirmataTiming(), self, chance.random)
        self.board.boot()
        if booted:
            self.let(3.0)
            self.written.clear()

    def read(self, pin: int, *, pulled_up: bool) -> bool:
        self.pulled[pin] = pulled_up
        return self.levels.get(pin, False)

    def write(self, pin: int, high: bool, now_s: float) -> None:
        self.written.append((now_s, pin, high))

    def analog(self, channel: int) -> int:
        return self.reading if channel == 0 else 0

    def let(self, seconds: float) -> bytes:
        return self.board.advance(self.board.now_s + seconds)

    def send(self, *wire: int) -> None:
        self.board.receive(bytes(wire))

    def messages(self, seconds: float, first: int) -> list[tuple[float, bytes]]:
        """Whole messages of three bytes with the moment their last byte came, watched every 20 us."""
        heard: list[tuple[float, bytes]] = []
        partial = b""
        ends_s = self.board.now_s + seconds
        while self.board.now_s < ends_s:
            for byte in self.let(20e-6):
                partial = bytes((byte,)) if byte >= 0x80 else partial + bytes((byte,))
                if len(partial) == 3 and partial[0] == first:
                    heard.append((self.board.now_s, partial))
        return heard


def test_the_banner_comes_2_1_s_after_opening_and_the_boot_loader() -> None:
    bench = Bench(booted=False)
    timing = FirmataTiming()
    assert bench.let(timing.boot_loader_s + 2.09) == b""
    assert bench.let(0.05).startswith(b"\xf9\x02")


def test_what_is_sent_before_the_banner_is_lost() -> None:
    bench = Bench(booted=False)
    bench.send(0xF4, 4, 1, 0xF5, 4, 1)
    bench.let(3.0)
    assert (4, True) not in [(pin, high) for _, pin, high in bench.written]


def test_it_tells_version_and_firmware_when_asked() -> None:
    bench = Bench()
    bench.send(0xF9, 0xF0, 0x79, 0xF7)
    said = bench.let(0.1)
    assert said[:3] == bytes((0xF9, 2, 5))
    assert said[3:7] == bytes((0xF0, 0x79, 2, 5))
    assert said[-1] == 0xF7


def test_it_tells_its_analog_pins_and_what_each_pin_can_do() -> None:
    bench = Bench()
    bench.send(0xF0, 0x69, 0xF7, 0xF0, 0x6B, 0xF7)
    said = bench.let(0.2)
    assert said[:2] == bytes((0xF0, 0x6A))
    assert said[2:22] == bytes([0x7F] * 14 + [0, 1, 2, 3, 4, 5])
    pins = said[said.index(b"\xf0\x6c") + 2 : -1].split(b"\x7f")[:-1]
    assert (len(pins), pins[0], pins[4]) == (20, b"", bytes((0, 1, 1, 1, 0x0B, 1)))
    assert pins[14].endswith(bytes((2, 10)))


def test_one_channel_at_a_millisecond_gives_a_thousand_samples_a_second_with_their_jitter() -> None:
    bench = Bench()
    bench.send(*SAMPLE_EVERY_MS, 0xC0, 1)
    bench.let(0.1)
    heard = bench.messages(2.0, 0xE0)
    spacings = [later - sooner for (sooner, _), (later, _) in pairwise(heard)]
    assert len(heard) == pytest.approx(2000, abs=20)
    assert min(spacings) == pytest.approx(0.0006, abs=0.0001)
    assert 0.0014 < max(spacings) < 0.0023
    assert {message for _, message in heard} == {bytes((0xE0, 512 & 0x7F, 512 >> 7))}


def test_two_channels_at_a_millisecond_run_into_the_ceiling_and_samples_get_old() -> None:
    bench = Bench()
    bench.send(*SAMPLE_EVERY_MS, 0xC0, 1, 0xC1, 1)
    bench.let(1.0)
    heard = bench.messages(1.0, 0xE0)
    assert 2 * len(heard) == pytest.approx(1780, rel=0.02)
    changed_s = bench.board.now_s
    bench.reading = 100
    first = next(at_s for at_s, message in bench.messages(0.1, 0xE0) if message[1:] == bytes((100, 0)))
    assert 0.005 < first - changed_s < 0.013


def test_an_edge_is_told_after_0_4_to_0_95_ms() -> None:
    bench = Bench()
    bench.send(0xF4, 8, 0x0B, 0xD1, 1)
    bench.let(0.1)
    delays = []
    for edge in range(40):
        bench.let(0.01 + edge * 37e-6)
        bench.levels[8] = not bench.levels.get(8, False)
        edge_s = bench.board.now_s
        delays.append(bench.messages(0.003, 0x91)[0][0] - edge_s)
    assert min(delays) >= 0.0004
    assert max(delays) <= 0.00097  # watched every 20 us
    assert bench.pulled[8]


def test_a_level_shorter_than_a_scan_may_be_missed_one_of_a_millisecond_is_not() -> None:
    bench = Bench()
    bench.send(0xF4, 8, 0, 0xD1, 1)
    bench.let(0.1)
    told = {0.0001: 0, 0.001: 0}
    for held_s in told:
        for pulse in range(50):
            bench.let(0.005 + pulse * 13e-6)
            bench.levels[8] = True
            said = bench.let(held_s)
            bench.levels[8] = False
            told[held_s] += b"\x91\x01\x00" in said + bench.let(0.003)
    assert told[0.001] == 50
    assert told[0.0001] < 50


def test_past_the_ceiling_edges_are_not_told_any_more() -> None:
    bench = Bench()
    bench.send(0xF4, 8, 0x0B, 0xD1, 1, *SAMPLE_EVERY_MS, 0xC0, 1, 0xC1, 1)
    bench.let(1.0)
    bench.levels[8] = True
    assert b"\x91" not in bench.let(1.0)
    bench.send(0xC1, 0)
    assert b"\x91" in bench.let(5.0)  # it has a second's worth of samples to make up


def test_pins_take_their_levels_and_keep_them_when_the_host_dies() -> None:
    bench = Bench()
    bench.send(0xF4, 4, 1, 0xF5, 4, 1)
    bench.let(0.01)
    assert [(pin, high) for _, pin, high in bench.written][-1] == (4, True)
    bench.written.clear()
    bench.let(60.0)
    assert bench.written == []


def test_a_port_message_sets_all_output_pins_of_the_port() -> None:
    bench = Bench()
    bench.send(0xF4, 4, 1, 0xF4, 5, 1, 0x90, 0x30, 0)
    bench.let(0.01)
    assert {(pin, high) for _, pin, high in bench.written[-2:]} == {(4, True), (5, True)}


def test_a_reset_byte_drives_every_output_low_and_stops_the_reports() -> None:
    bench = Bench()
    bench.send(*SAMPLE_EVERY_MS, 0xC0, 1, 0xF4, 4, 1, 0xF5, 4, 1)
    bench.let(0.1)
    bench.send(0xFF)
    bench.let(0.05)
    assert (4, False) in [(pin, high) for _, pin, high in bench.written[-18:]]
    assert bench.let(1.0) == b""


def test_the_parser_finds_its_way_after_any_rubbish() -> None:
    chance = random.Random(7)
    for _ in range(50):
        bench = Bench()
        bench.board.receive(bytes(chance.randrange(256) for _ in range(400)))
        bench.let(3.0)
        bench.send(0xF7, 0xFF, 0xF4, 4, 1, 0xF5, 4, 1)
        bench.let(0.1)
        assert (4, True) in [(pin, high) for _, pin, high in bench.written]


def test_unknown_sysex_is_ignored() -> None:
    bench = Bench()
    bench.send(0xF0, 0x55, 1, 2, 3, 0xF7, 0xF9)
    assert bench.let(0.1) == bytes((0xF9, 2, 5))


def test_a_hung_sketch_says_nothing_and_keeps_its_pins() -> None:
    bench = Bench()
    bench.send(*SAMPLE_EVERY_MS, 0xC0, 1, 0xF4, 4, 1, 0xF5, 4, 1)
    bench.let(0.1)
    bench.written.clear()
    bench.board.silenced = True
    bench.let(0.02)
    assert bench.let(1.0) == b""
    bench.send(0xF5, 4, 0)
    bench.let(1.0)
    assert bench.written == []
