"""Messages to the sampler as bytes, and what it answers about its pins: open Firmata 2.x (wires.md, "Sampler").

Source: the protocol's published description (from memory; the forms are those of wires.md).
"""

from __future__ import annotations

from enum import IntEnum

from controller.link.firmata_parser import DIGITAL, SYSEX, SYSEX_END, VERSION

RESET = bytes([0xFF])
ASK_VERSION = bytes([VERSION])
FIRMWARE, ASK_ANALOG_MAP, ANALOG_MAP, ASK_CAPABILITIES, CAPABILITIES = 0x79, 0x69, 0x6A, 0x6B, 0x6C
SAMPLING_INTERVAL = 0x7A
NO_CHANNEL = 0x7F  # in the analog map: a pin without an analog input; in the capabilities: end of a pin


class PinMode(IntEnum):
    """What a pin can be."""

    INPUT = 0
    OUTPUT = 1
    ANALOG = 2
    PULL_UP = 0x0B


def seven_bits(number: int) -> bytes:
    """A number below 2¹⁴ as two data bytes, the low one first."""
    return bytes([number & 0x7F, number >> 7 & 0x7F])


def ask(command: int) -> bytes:
    """A sysex question without arguments."""
    return bytes([SYSEX, command, SYSEX_END])


def sampling_interval(milliseconds: int) -> bytes:
    """How often analog channels are read."""
    return bytes([SYSEX, SAMPLING_INTERVAL, *seven_bits(milliseconds), SYSEX_END])


def pin_mode(pin: int, mode: PinMode) -> bytes:
    """Make a pin an input, an output, or an analog input."""
    return bytes([0xF4, pin, mode])


def pin_level(pin: int, *, high: bool) -> bytes:
    """Set one output pin (protocol 2.5 and later)."""
    return bytes([0xF5, pin, int(high)])


def port_levels(port: int, levels: int) -> bytes:
    """Set all output pins of a port; on an input pin, high switches its pull-up on (protocols before 2.5)."""
    return bytes([DIGITAL | port, *seven_bits(levels)])


def report_analog(channel: int) -> bytes:
    """Begin to report an analog channel."""
    return bytes([0xC0 | channel, 1])


def report_port(port: int) -> bytes:
    """Begin to report the inputs of a port: now, and on every change."""
    return bytes([0xD0 | port, 1])


def read_analog_map(payload: bytes) -> dict[int, int]:
    """Pin of every analog channel."""
    return {channel: pin for pin, channel in enumerate(payload) if channel != NO_CHANNEL}


def read_capabilities(payload: bytes) -> list[dict[int, int]]:
    """For every pin, the modes it can take and the bits of each."""
    pins = payload.split(bytes([NO_CHANNEL]))[:-1]
    return [dict(zip(pin[::2], pin[1::2], strict=False)) for pin in pins]
