"""Contacts, gate and pump on their time line."""

from __future__ import annotations

import pytest

from controller.core.commands import Output
from sim.contacts import Contacts
from sim.settings import load_plant

TICK_S = 0.01
PLANT = load_plant().contacts


class Bench:
    """Contacts with a host that completes a tick every 10 ms while it lives."""

    def __init__(self) -> None:
        self.contacts = Contacts(PLANT)
        self.ticks = 0

    @property
    def now_s(self) -> float:
        return self.ticks * TICK_S

    def run(self, seconds: float, host_alive: bool = True) -> None:
        for _ in range(round(seconds / TICK_S)):
            self.ticks += 1
            self.contacts.advance(self.now_s)
            if host_alive:
                self.contacts.heartbeat(self.now_s)

    def switch(self, output: Output, on: bool) -> None:
        self.contacts.switch(output, on, self.now_s)


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    bench.run(0.1)
    return bench


def test_everything_is_off_at_the_start(bench: Bench) -> None:
    contacts = bench.contacts
    assert (contacts.live, contacts.sensing_on, contacts.flow, contacts.contact_open) == (False, False, False, True)


def test_the_source_contact_closes_after_link_and_coil_and_its_mirror_breaks_first(bench: Bench) -> None:
    bench.switch(Output.SOURCE, True)
    sent_s = bench.now_s
    bench.contacts.advance(sent_s + 0.004)
    assert not bench.contacts.contact_open
    assert not bench.contacts.live
    bench.contacts.advance(sent_s + 0.0179)
    assert not bench.contacts.live
    bench.contacts.advance(sent_s + 0.0181)
    assert bench.contacts.live


def test_the_source_contact_releases_within_20_ms_of_its_coil_and_only_then_says_open(bench: Bench) -> None:
    # electrics.md: contact release <= 20 ms.
    bench.switch(Output.SOURCE, True)
    bench.run(0.1)
    bench.switch(Output.SOURCE, False)
    sent_s = bench.now_s
    while bench.contacts.live:
        assert not bench.contacts.contact_open
        bench.contacts.advance(bench.contacts.next_s)
    assert bench.contacts.contact_open
    assert bench.contacts.next_s > sent_s
    assert PLANT.source_open_ms <= 20.0


def test_a_dead_host_opens_the_source_contact_within_100_ms_and_the_pump_later(bench: Bench) -> None:
    # electrics.md: hold-up 60 ± 20 ms, release <= 20 ms; pump 0.5-2 s later.
    bench.switch(Output.SOURCE, True)
    bench.switch(Output.WATER, True)
    bench.run(2.0)
    assert bench.contacts.live
    assert bench.contacts.flow
    died_s = bench.now_s
    opened_s = stopped_s = None
    for n in range(1, 4000):
        bench.contacts.advance(died_s + 0.001 * n)
        if opened_s is None and not bench.contacts.live:
            opened_s = 0.001 * n
        if stopped_s is None and not bench.contacts.pump.closed:
            stopped_s = 0.001 * n
    assert opened_s is not None
    assert stopped_s is not None
    assert 0.040 <= opened_s <= 0.100
    assert 0.5 <= stopped_s - opened_s <= 2.0


def test_a_host_that_comes_back_needs_a_few_edges_before_the_gate_holds(bench: Bench) -> None:
    bench.switch(Output.SOURCE, True)
    bench.run(0.2)
    bench.run(0.2, host_alive=False)
    assert not bench.contacts.live
    bench.run(0.02)
    assert not bench.contacts.live
    bench.run(0.1)
    assert bench.contacts.live


def test_flow_comes_half_a_second_after_the_pump(bench: Bench) -> None:
    bench.switch(Output.WATER, True)
    bench.run(0.45)
    assert not bench.contacts.flow
    bench.run(0.1)
    assert bench.contacts.flow
    bench.switch(Output.WATER, False)
    bench.run(0.5)
    assert not bench.contacts.flow


def test_sensing_needs_no_heartbeat(bench: Bench) -> None:
    bench.run(0.5, host_alive=False)
    bench.switch(Output.SENSING, True)
    bench.run(0.02, host_alive=False)
    assert bench.contacts.sensing_on


def test_a_change_of_mind_within_the_closing_time_leaves_the_contact_open(bench: Bench) -> None:
    bench.switch(Output.SOURCE, True)
    bench.run(0.01)
    bench.switch(Output.SOURCE, False)
    for _ in range(100):
        bench.run(0.01)
        assert not bench.contacts.live
    assert bench.contacts.contact_open


def test_the_hard_wired_stop_takes_source_and_pump_whatever_the_pins_say(bench: Bench) -> None:
    bench.switch(Output.SOURCE, True)
    bench.switch(Output.WATER, True)
    bench.run(1.0)
    bench.contacts.cut_power(bench.now_s)
    bench.run(0.5)
    assert not bench.contacts.live
    assert not bench.contacts.flow
    bench.contacts.restore_power(bench.now_s)
    bench.run(1.0)
    assert bench.contacts.live
