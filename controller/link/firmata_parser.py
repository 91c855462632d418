"""Bytes of the sampler into messages: the open Firmata protocol 2.x (wires.md, "Sampler").

Source: the protocol's published description, protocol version 2.5 to 2.7 (from memory; the forms are those of
wires.md). A byte of 0x80 or more begins a message or ends a sysex; all others are 7-bit data. Whatever does not fit is
dropped up to the next byte of 0x80 or more.
"""

from __future__ import annotations

from dataclasses import dataclass

ANALOG, DIGITAL, VERSION, SYSEX, SYSEX_END = 0xE0, 0x90, 0xF9, 0xF0, 0xF7
CHANNEL_MASK, KIND_MASK = 0x0F, 0xF0
# The longest reply is that of the capabilities, some 15 bytes a pin for at most 128 pins. Chosen: twice that.
SYSEX_MOST = 4096


@dataclass(slots=True, frozen=True)
class Analog:
    """One reading of an analog channel."""

    channel: int
    count: int


@dataclass(slots=True, frozen=True)
class Digital:
    """The levels of the eight pins of a port; bit n is pin 8 × port + n."""

    port: int
    levels: int


@dataclass(slots=True, frozen=True)
class Version:
    """The protocol version: the first thing a board says after its start."""

    major: int
    minor: int


@dataclass(slots=True, frozen=True)
class Sysex:
    """Any other message: its command byte and its 7-bit payload."""

    command: int
    payload: bytes


Message = Analog | Digital | Version | Sysex


class FirmataParser:
    """Cuts received bytes into messages, whatever their portions. Never raises.

    Attributes:
        dropped: Bytes that belonged to no message.
    """

    __slots__ = ("_begun", "_command", "dropped")

    def __init__(self) -> None:
        self._command = 0  # 0: between messages
        self._begun = bytearray()
        self.dropped = 0

    def feed(self, received: bytes) -> list[Message]:
        """The messages that are complete with these bytes."""
        messages: list[Message] = []
        place, whole = 0, len(received) - 2
        while place < len(received):
            byte = received[place]
            # Nearly all of the traffic is readings that arrive whole: these go the short way.
            if byte & KIND_MASK == ANALOG and not self._command and place < whole:
                low, high = received[place + 1], received[place + 2]
                if low < 0x80 and high < 0x80:
                    messages.append(Analog(byte & CHANNEL_MASK, low | high << 7))
                    place += 3
                    continue
            self._take(byte, messages)
            place += 1
        return messages

    def _take(self, byte: int, messages: list[Message]) -> None:
        if byte >= 0x80:
            self._begin(byte, messages)
        elif self._command == 0:
            self.dropped += 1
        else:
            self._begun.append(byte)
            if self._command != SYSEX:
                if len(self._begun) == 2:
                    messages.append(_short(self._command, self._begun[0], self._begun[1]))
                    self._clear(0)
            elif len(self._begun) > SYSEX_MOST:
                self._drop(0)

    def restart(self) -> None:
        """Forget a message begun."""
        self._clear(0)

    def _begin(self, byte: int, messages: list[Message]) -> None:
        if byte == SYSEX_END and self._command == SYSEX:
            if self._begun:
                messages.append(Sysex(self._begun[0], bytes(self._begun[1:])))
            self._clear(0)
            return
        known = byte in (SYSEX, VERSION) or byte & KIND_MASK in (ANALOG, DIGITAL)
        if self._command:
            self._drop(byte if known else 0)
        else:
            self._clear(byte if known else 0)
        if not known:
            self.dropped += 1

    def _drop(self, command: int) -> None:
        """Leave a message unfinished and begin another one, or none."""
        self.dropped += 1 + len(self._begun)
        self._clear(command)

    def _clear(self, command: int) -> None:
        self._command = command
        self._begun.clear()


def _short(command: int, first: int, second: int) -> Message:
    """A message of two data bytes: the low seven bits first, but for the version."""
    if command == VERSION:
        return Version(first, second)
    if command & KIND_MASK == ANALOG:
        return Analog(command & CHANNEL_MASK, first | second << 7)
    return Digital(command & CHANNEL_MASK, (first | second << 7) & 0xFF)
