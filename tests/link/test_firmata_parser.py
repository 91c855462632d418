"""Golden bytes of the open Firmata protocol, both ways, written by hand.

Sources: wires.md "Sampler" for every form; the protocol's published description for the version, firmware, analog map
and capability replies (from memory).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.link import firmata_messages as say
from controller.link.firmata_messages import PinMode
from controller.link.firmata_parser import Analog, Digital, FirmataParser, Message, Sysex, Version

CASES: list[tuple[str, bytes, list[Message]]] = [
    ("version 2.5", b"\xf9\x02\x05", [Version(2, 5)]),
    ("version 2.7", b"\xf9\x02\x07", [Version(2, 7)]),
    ("analog 0 = 0", b"\xe0\x00\x00", [Analog(0, 0)]),
    ("analog 0 = 1023: lsb 7F, msb 07", b"\xe0\x7f\x07", [Analog(0, 1023)]),
    ("analog 3 = 512", b"\xe3\x00\x04", [Analog(3, 512)]),
    ("analog 15, all 14 bits", b"\xef\x7f\x7f", [Analog(15, 16383)]),
    ("port 1, pin 8 high", b"\x91\x01\x00", [Digital(1, 0b0000_0001)]),
    ("port 0, pin 7 high: bit 7 travels in the msb", b"\x90\x00\x01", [Digital(0, 0b1000_0000)]),
    ("port 1, all high", b"\x91\x7f\x01", [Digital(1, 0xFF)]),
    ("firmware 2.5 'AB'", b"\xf0\x79\x02\x05A\x00B\x00\xf7", [Sysex(0x79, b"\x02\x05A\x00B\x00")]),
    ("unknown sysex", b"\xf0\x71x\x00\xf7", [Sysex(0x71, b"x\x00")]),
    ("empty sysex", b"\xf0\xf7", []),
    ("two in a row", b"\xe0\x01\x00\xe0\x02\x00", [Analog(0, 1), Analog(0, 2)]),
    ("data bytes out of place", b"\x01\x02\xe0\x01\x00", [Analog(0, 1)]),
    ("cut short by the next", b"\xe0\x01\xe0\x02\x00", [Analog(0, 2)]),
    ("sysex cut short by the next", b"\xf0\x79\x02\x91\x01\x00", [Digital(1, 1)]),
    ("an end with no beginning", b"\xf7\xe0\x01\x00", [Analog(0, 1)]),
    ("a command that no board sends", b"\xf4\x04\x01\xe0\x01\x00", [Analog(0, 1)]),
    ("reset byte in the middle", b"\xe0\x01\xff\xe0\x01\x00", [Analog(0, 1)]),
    ("a sysex that never ends", b"\xf0" + b"\x01" * 5000 + b"\xe0\x01\x00", [Analog(0, 1)]),
]
NAMES = [name for name, _, _ in CASES]


@pytest.mark.parametrize(("received", "messages"), [case[1:] for case in CASES], ids=NAMES)
def test_whole(received: bytes, messages: list[Message]) -> None:
    assert FirmataParser().feed(received) == messages


@pytest.mark.parametrize(("received", "messages"), [case[1:] for case in CASES], ids=NAMES)
def test_byte_by_byte(received: bytes, messages: list[Message]) -> None:
    parser = FirmataParser()
    assert [message for byte in received for message in parser.feed(bytes([byte]))] == messages


@pytest.mark.parametrize(("received", "messages"), [case[1:] for case in CASES], ids=NAMES)
def test_with_trailing_bytes(received: bytes, messages: list[Message]) -> None:
    """The beginning of another message stays for the next portion."""
    parser = FirmataParser()
    assert parser.feed(received + b"\xe5\x10") == messages
    assert parser.feed(b"\x01") == [Analog(5, 0x90)]


@given(st.binary(max_size=3000), st.integers(1, 64))
def test_any_bytes_and_then_a_good_message(rubbish: bytes, portion: int) -> None:
    parser = FirmataParser()
    for start in range(0, len(rubbish), portion):
        parser.feed(rubbish[start : start + portion])
    assert parser.feed(b"\xe0\x7f\x07")[-1] == Analog(0, 1023)


@given(st.lists(st.sampled_from([case[1:] for case in CASES[:11]]), max_size=30), st.integers(1, 7))
def test_portions_do_not_matter(cases: list[tuple[bytes, list[Message]]], portion: int) -> None:
    received = b"".join(case[0] for case in cases)
    parser = FirmataParser()
    found = [
        message
        for start in range(0, len(received), portion)
        for message in parser.feed(received[start : start + portion])
    ]
    assert found == [message for case in cases for message in case[1]]
    assert parser.dropped == 0


def test_bytes_to_the_board() -> None:
    """Every form of wires.md, letter for letter."""
    assert say.ask(say.FIRMWARE) == b"\xf0\x79\xf7"
    assert say.ask(say.ASK_ANALOG_MAP) == b"\xf0\x69\xf7"
    assert say.ask(say.ASK_CAPABILITIES) == b"\xf0\x6b\xf7"
    assert say.pin_mode(4, PinMode.OUTPUT) == b"\xf4\x04\x01"
    assert say.pin_mode(14, PinMode.ANALOG) == b"\xf4\x0e\x02"
    assert say.pin_mode(8, PinMode.PULL_UP) == b"\xf4\x08\x0b"
    assert say.pin_mode(8, PinMode.INPUT) == b"\xf4\x08\x00"
    assert say.report_analog(0) == b"\xc0\x01"
    assert say.report_analog(3) == b"\xc3\x01"
    assert say.report_port(1) == b"\xd1\x01"
    assert say.pin_level(6, high=True) == b"\xf5\x06\x01"
    assert say.pin_level(6, high=False) == b"\xf5\x06\x00"
    assert say.port_levels(0, 0b1111_0000) == b"\x90\x70\x01"
    assert say.sampling_interval(1) == b"\xf0\x7a\x01\x00\xf7"
    assert say.sampling_interval(1000) == b"\xf0\x7a\x68\x07\xf7"
    assert say.RESET == b"\xff"
    assert say.ASK_VERSION == b"\xf9"


def test_the_boards_lists() -> None:
    """Two plain pins, then one with an analog input of 10 bits on channel 0."""
    assert say.read_analog_map(b"\x7f\x7f\x00\x01") == {0: 2, 1: 3}
    capabilities = b"\x7f" + b"\x00\x01\x0b\x01\x01\x01\x7f" + b"\x00\x01\x02\x0a\x7f"
    assert say.read_capabilities(capabilities) == [{}, {0: 1, 11: 1, 1: 1}, {0: 1, 2: 10}]
    assert say.read_capabilities(b"\x00") == []
