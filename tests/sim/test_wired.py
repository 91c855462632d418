"""The plant behind its boards, by bytes alone and in virtual time."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

import pytest

from controller.plan.build import build_plan
from controller.settings.load import load_job, load_machine, resolve
from sim.injector import planned
from sim.settings import load_plant
from sim.wired import WiredMachine

# Pins of the shipped machine files.
SOURCE, SENSING, HEARTBEAT, WATER = 4, 5, 6, 7


class Host:
    """A host by hand: sets pins, beats the heart every 10 ms, talks to the motion board, reads both."""

    def __init__(self, machine_name: str = "status.toml", *faults: str) -> None:
        machine = load_machine(resolve(machine_name, kind="machines"))
        job = load_job(resolve("coupon.toml", kind="jobs"))
        given = tuple(planned(spec, machine.motion.convention) for spec in faults)
        self.wired = WiredMachine(machine, job, build_plan(job, machine), load_plant(), 3, given)
        self.truth = self.wired.plant.truth
        self.said = ""
        self.readings: list[int] = []
        self.inputs = 0
        self.beating = False
        self._beat = False
        self._partial = b""
        self.wired.motion.boot()
        self.wired.sampler.boot()
        self.let(3.0)
        self.pins(0xF0, 0x7A, 1, 0, 0xF7, 0xC0, 1, 0xD1, 1)
        for pin in (SOURCE, SENSING, HEARTBEAT, WATER):
            self.pins(0xF4, pin, 1)
        for pin in range(8, 13):
            self.pins(0xF4, pin, 0x0B)
        self.let(0.1)

    def pins(self, *wire: int) -> None:
        self.wired.sampler.receive(bytes(wire))

    def switch(self, pin: int, on: bool) -> None:
        self.pins(0xF5, pin, int(on))

    def write(self, text: str) -> None:
        self.wired.motion.receive(text.encode())

    def let(self, seconds: float) -> None:
        """Let time pass in ticks of 10 ms."""
        for _ in range(max(1, round(seconds / 0.01))):
            if self.beating:
                self._beat = not self._beat
                self.switch(HEARTBEAT, self._beat)
            motion, sampler = self.wired.advance(self.wired.now_s + 0.01)
            self.said += motion.decode()
            for message in self._messages(sampler):
                if message[0] == 0xE0:
                    self.readings.append(message[1] | message[2] << 7)
                else:
                    self.inputs = message[1]

    def ask(self, line: str, within_s: float = 60.0) -> str:
        self.said = ""
        self.write(line + "\n")
        ends_s = self.wired.now_s + within_s
        while not re.search(r"^(ok|error)", self.said, re.MULTILINE):
            assert self.wired.now_s < ends_s, self.said
            self.let(0.01)
        return self.said

    def open_water_and_source(self) -> None:
        self.beating = True
        self.let(0.1)
        self.switch(WATER, True)
        self.let(1.0)
        self.switch(SOURCE, True)
        self.let(0.1)

    @property
    def contact_open(self) -> bool:
        """The mirror contact pulls its input low."""
        return not self.inputs & 1

    @property
    def flow(self) -> bool:
        return not self.inputs & 2

    def _messages(self, wire: bytes) -> Iterator[bytes]:
        for byte in wire:
            self._partial = bytes((byte,)) if byte >= 0x80 else self._partial + bytes((byte,))
            if len(self._partial) == 3 and self._partial[0] in {0xE0, 0x91}:
                yield self._partial


def test_a_status_board_homes_the_plant_and_its_zero_is_the_top_of_every_travel() -> None:
    host = Host()
    assert "ok" in host.ask("$H")
    host.write("?")
    host.let(0.02)
    assert "MPos:-219.000,-219.000,-1.000" in host.said
    x_mm, y_mm, z_mm = host.truth.face_mm  # the machine file's frame: 0..220, 0..220, -90..0; play of 40 um
    assert (x_mm, y_mm, z_mm) == pytest.approx((1.0, 1.0, -1.0), abs=0.06)


def test_an_ack_board_homes_the_plant_in_the_machine_file_s_frame() -> None:
    host = Host("ack.toml")
    assert "ok" in host.ask("G28")
    assert "X:1.00 Y:1.00 Z:-1.00" in host.ask("M114")
    assert host.truth.face_mm == pytest.approx((1.0, 1.0, -1.0), abs=0.06)


def test_source_and_water_need_heartbeat_and_pin_and_the_mirror_contact_tells() -> None:
    host = Host()
    host.switch(SOURCE, True)
    host.switch(WATER, True)
    host.let(1.0)
    assert host.contact_open
    assert not host.truth.live
    assert not host.truth.flow
    host.beating = True
    host.let(1.0)
    assert host.truth.live
    assert not host.contact_open
    assert host.flow


def test_a_host_that_dies_loses_the_source_within_120_ms_and_the_water_within_2_s() -> None:
    # electrics.md: fail-safe gate.
    host = Host()
    host.open_water_and_source()
    host.beating = False
    host.let(0.12)
    assert not host.truth.live
    assert host.truth.flow
    host.let(0.38)
    assert host.truth.flow  # the source drops first, the pump half a second later at the soonest
    host.let(1.62)
    assert not host.truth.flow


def test_a_heartbeat_that_stands_still_is_none_whatever_its_level() -> None:
    # electrics.md: AC-coupled, stuck high = stuck low = off.
    host = Host()
    host.open_water_and_source()
    host.beating = False
    host.switch(HEARTBEAT, True)
    host.let(0.15)
    assert not host.truth.live


def test_a_sampler_that_resets_lets_everything_go() -> None:
    host = Host()
    host.open_water_and_source()
    host.wired.sampler.boot()
    host.beating = False
    host.let(0.04)
    assert not host.truth.live


def test_the_gap_pin_tells_open_source_and_open_sensing_feed() -> None:
    # electrics.md: `clamp`, saturated at 3 V; sensing feed 5 V, open; both off below 0.2 V.
    host = Host()
    host.readings.clear()
    host.let(0.1)
    assert max(host.readings) < 41
    host.switch(SENSING, True)
    host.let(0.1)
    assert min(host.readings[-50:]) > 950
    host.switch(SENSING, False)
    host.open_water_and_source()
    assert max(host.readings[-50:]) > 580


@pytest.mark.parametrize(("machine", "move"), [("status.toml", "G1X2F600"), ("ack.toml", "G1 X2 F600")])
def test_what_the_board_steps_the_plant_makes(machine: str, move: str) -> None:
    host = Host(machine)
    for line in ("$X", "G21", "G91") if machine == "status.toml" else ("M121", "M211 S0", "G91"):
        host.ask(line)
    before_mm = host.truth.face_mm[0]
    host.ask(move)
    host.let(3.0)
    assert host.truth.face_mm[0] - before_mm == pytest.approx(2.0, abs=0.09)  # play of 40 um either way


def drill(host: Host, seconds: float) -> None:
    """Over the first hole, sense the plate, back off, then sink with single steps while the gap reads high."""
    host.ask("$H")
    host.ask("G90")
    hole = host.wired.plant.truth
    host.ask("G53G0X-174Y-174")  # the first hole of the coupon: 46, 46 in the machine file's frame
    host.ask("G4P0")
    host.switch(SENSING, True)
    host.ask("G91")
    while hole.tip_mm - hole.surface_mm(46.0, 46.0) > 1.0:
        host.ask("G1Z-0.5F600")
    while min(host.readings[-3:]) > 200:
        host.ask("G1Z-0.01F600")
    host.ask("G1Z0.3F600")
    host.ask("G4P0")
    host.switch(SENSING, False)
    host.let(0.1)
    host.open_water_and_source()
    ends_s = host.wired.now_s + seconds
    while host.wired.now_s < ends_s:
        host.readings.clear()
        host.let(0.02)
        low = sum(reading < 100 for reading in host.readings) / len(host.readings)
        host.write("G1Z0.02F600\n" if low > 0.9 else "" if low > 0.3 else "G1Z-0.0025F600\n")


def test_bytes_alone_drill_into_the_plate() -> None:
    host = Host()
    drill(host, 20.0)
    holes = host.wired.true_holes()
    assert [hole.hole for hole in holes] == [1]
    assert host.wired.plant.truth.erosion.sparks > 100
    assert host.wired.plant.truth.holes[1].deepest_um > 20.0
    assert not holes[0].through


def test_the_same_seed_and_the_same_bytes_give_the_same_bytes() -> None:
    def heard() -> tuple[str, list[int]]:
        host = Host("ack.toml")
        host.open_water_and_source()
        host.ask("G91")
        host.ask("G1 X5 F600")
        return host.said, host.readings

    assert heard() == heard()


# -- faults ----------------------------------------------------------------------------------------------------------


def test_a_welded_contact_is_shut_from_the_moment_it_welds_and_its_mirror_says_so() -> None:
    host = Host("status.toml", "contact-stuck@t:2s")
    assert host.truth.live
    host.let(0.1)
    assert not host.contact_open
    host.switch(SOURCE, False)
    host.let(1.0)
    assert host.truth.live
    assert not host.contact_open


def test_a_supply_that_is_off_leaves_no_voltage_whatever_the_contact_does() -> None:
    host = Host("status.toml", "contact-stuck@t:2s")
    host.let(0.1)
    assert max(host.readings[-50:]) > 500
    host.wired.plant.supply_on = False
    host.let(0.1)
    assert max(host.readings[-50:]) < 41


@pytest.mark.parametrize(("faults", "volts"), [((), 64.0), (("source-reversed@t:0s",), -64.0)])
def test_a_source_the_wrong_way_round_is_nothing_to_a_clamp_and_told_by_a_meter(
    faults: tuple[str, ...], volts: float
) -> None:
    host = Host("status.toml", *faults)
    host.open_water_and_source()
    host.readings.clear()
    host.let(0.3)
    assert (max(host.readings) < 41) == (volts < 0.0)
    assert host.wired.plant.meter_v() == volts


def test_an_ack_board_built_without_idle_lock_answers_that_it_does_not_know_the_word() -> None:
    host = Host("ack.toml", "idle-lock@t:0s")
    assert "Unknown command" in host.ask("M84 S0")


def test_a_reversed_axis_runs_away_from_its_switch() -> None:
    host = Host("status.toml", "z-reversed@t:0s")
    assert "ALARM:9" in host.ask("$H", within_s=120.0)


def test_a_wrong_idle_lock_can_be_read_and_lets_the_axes_slip() -> None:
    host = Host("status.toml", "idle-lock@t:0s")
    assert "$1=25" in host.ask("$$")
    host.ask("$X")
    host.ask("G91")
    places_mm = []
    for _ in range(12):
        host.ask("G1Z-0.1F600")
        host.let(0.2)
        places_mm.append(host.truth.face_mm[2])
    ways_mm = [before - after for before, after in pairwise(places_mm)]
    assert max(abs(way - 0.1) for way in ways_mm) > 0.005


def test_a_noisy_front_end_scatters() -> None:
    quiet, noisy = Host(), Host("status.toml", "noisy-front-end@t:0s")
    for host in (quiet, noisy):
        host.switch(SENSING, True)
        host.let(0.1)
        host.readings.clear()
        host.let(0.5)
    assert max(quiet.readings) - min(quiet.readings) < 20
    assert max(noisy.readings) - min(noisy.readings) > 100


def test_without_its_supply_the_charge_pump_never_closes_the_contact() -> None:
    host = Host("status.toml", "no-heartbeat-supply@t:0s")
    host.open_water_and_source()
    assert host.contact_open
    assert not host.truth.live


def test_a_board_reset_comes_in_its_time() -> None:
    host = Host("status.toml", "board-reset@t:5s")
    host.said = ""
    host.let(1.5)
    assert "for help" not in host.said
    host.let(3.0)
    assert "for help" in host.said


def test_a_stream_that_stops_stops() -> None:
    host = Host("status.toml", "stream-stops@t:4s")
    host.let(1.0)
    host.readings.clear()
    host.let(1.0)
    assert host.readings == []
