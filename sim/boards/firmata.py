"""A virtual sampler: a small microcontroller board with the stock sketch of the open Firmata protocol 2.x.

The sketch is one loop: look at the digital ports, take bytes in, sample when the interval is over. Sending blocks it:
its sender holds 64 bytes, and a message that finds no room holds up everything else. That is where stale samples and
missed edges come from. It has no watchdog: whatever its pins were told last they keep.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Protocol

from sim.boards.uart import Uart

# Bytes of the open Firmata protocol 2.x (wires.md).
ANALOG, DIGITAL, REPORT_ANALOG, REPORT_PORT = 0xE0, 0x90, 0xC0, 0xD0
SYSEX, SYSEX_END, PIN_MODE, PIN_LEVEL, VERSION, RESET = 0xF0, 0xF7, 0xF4, 0xF5, 0xF9, 0xFF
FIRMWARE, ANALOG_MAP, ANALOG_MAP_REPLY, CAPABILITIES, CAPABILITIES_REPLY, INTERVAL = 0x79, 0x69, 0x6A, 0x6B, 0x6C, 0x7A
INPUT, OUTPUT, ANALOG_INPUT, PULL_UP = 0x00, 0x01, 0x02, 0x0B
# Bytes that follow each short command.
LENGTHS = {ANALOG: 2, DIGITAL: 2, REPORT_ANALOG: 1, REPORT_PORT: 1, PIN_MODE: 2, PIN_LEVEL: 2, VERSION: 0, RESET: 0}
LONGEST_SYSEX = 64  # the stock sketch's buffer: common practice, no source
NAME = b"sampler"
PINS, FIRST_ANALOG_PIN, CHANNELS = 20, 14, 6  # the smallest of the stock boards: common practice, no source
FIRST_FREE_PIN = 2  # 0 and 1 are the serial line
PORTS = 3


@dataclass(slots=True, frozen=True)
class FirmataTiming:
    """Timing and sizes; every figure that has no other source is measured in wires.md.

    Args:
        baud: Fixed in the stock sketch.
        boot_s, boot_loader_s: Opening the port to the banner: 2.1 s, and the boot-loader before it (common practice).
        messages_hz: The most that goes out: 1780 messages of three bytes a second.
        sender_bytes: Room of the sender; at that rate 11 ms of samples.
        interval_ms: Sampling interval after a reset: common practice, no source.
        jitter_s: Every sample is late by up to this, evenly; with the shortest spacing below, 0.6 to 1.4 ms.
        late_share, late_s: This share of them (chosen) by up to `late_s`: up to 2.2 ms from one to the next.
        least_spacing_s: Two samples are never closer.
        scan_s: From one look at the ports to the next; with a message of 0.56 ms an edge is told after 0.4-0.95 ms.
        version: Of the protocol.
    """

    baud: int = 57600
    boot_s: float = 2.1
    boot_loader_s: float = 0.5
    messages_hz: float = 1780.0
    sender_bytes: int = 63
    interval_ms: int = 19
    jitter_s: float = 0.0004
    late_share: float = 0.02
    late_s: float = 0.0012
    least_spacing_s: float = 0.0006
    scan_s: float = 0.00038
    version: tuple[int, int] = (2, 5)


class Panel(Protocol):
    """What the sampler's pins are wired to."""

    def read(self, pin: int, *, pulled_up: bool) -> bool:
        """Level of an input pin."""

    def write(self, pin: int, high: bool, now_s: float) -> None:
        """An output pin takes a level; a pin that floats is pulled low."""

    def analog(self, channel: int) -> int:
        """What the converter reads now, 0 to 1023."""


class FirmataBoard:
    """One sampler.

    Args:
        timing: How fast it is.
        panel: What its pins are wired to.
        uniform: Draws from [0, 1), for its jitter.

    Attributes:
        now_s: Machine time.
        silenced: A fault: the sketch hangs; pins stay as they are.
    """

    def __init__(self, timing: FirmataTiming, panel: Panel, uniform: Callable[[], float]) -> None:
        self.timing = timing
        self.panel = panel
        self.uart = Uart(timing.baud, 1.0 / (3.0 * timing.messages_hz))
        self._uniform = uniform
        self.now_s = 0.0
        self.silenced = False
        self._boots_s = inf
        self._running = False
        self._reset_state()

    def _reset_state(self) -> None:
        self._modes = dict.fromkeys(range(PINS), OUTPUT)
        self._levels = [False] * PINS
        self._reported_ports: set[int] = set()
        self._told = [0] * PORTS
        self._channels: set[int] = set()
        self._interval_s = self.timing.interval_ms / 1000.0
        self._due_s = self._sample_s = inf
        self._scan_s = self.now_s
        self._message = bytearray()

    # -- from outside -------------------------------------------------------------------------------------------------

    def boot(self) -> None:
        """The port was opened: the board resets, its pins float until they are set."""
        self.uart.cut()
        self._running = False
        self._float()
        self._reset_state()
        self._boots_s = self.now_s + self.timing.boot_loader_s + self.timing.boot_s

    def receive(self, wire: bytes) -> None:
        """The host puts bytes on the line now."""
        self.uart.arrive(wire, self.now_s)

    def advance(self, to_s: float) -> bytes:
        """Let machine time pass up to `to_s`; return the bytes that have reached the host."""
        while (at_s := self._next_s()) <= to_s:
            self.now_s = max(self.now_s, at_s)
            self._step()
        self.now_s = to_s
        return self.uart.sent(to_s)

    def _next_s(self) -> float:
        scan_s = self._scan_s if self._reported_ports else inf
        busy_s = max(min(self.uart.next_arrival_s, self._sample_s, scan_s), self._room_s())
        return min(self._boots_s, busy_s)

    def _room_s(self) -> float:
        """From when on the sender has room for a message again."""
        return self.uart.sent_until_s - (self.timing.sender_bytes - 3) / (3.0 * self.timing.messages_hz)

    # -- one round of the sketch's loop -------------------------------------------------------------------------------

    def _step(self) -> None:
        if self.now_s >= self._boots_s:
            self._begin()
        if self.uart.next_arrival_s <= self.now_s:
            byte = self.uart.take()
            if self._running and not self.silenced:
                self._byte(byte)
        if self._sample_s <= self.now_s:
            self._sample()  # as long as samples are overdue, ports are not looked at
        elif self._reported_ports and self._scan_s <= self.now_s:
            self._scan_s = self.now_s + self.timing.scan_s
            self._scan()

    def _begin(self) -> None:
        self._boots_s = inf
        self._running = True
        self._reset_state()
        self._send(bytes((VERSION, *self.timing.version)))
        self._tell_firmware()

    def _float(self) -> None:
        for pin in range(FIRST_FREE_PIN, PINS):
            self.panel.write(pin, False, self.now_s)

    def _send(self, message: bytes) -> None:
        if not self.silenced:
            self.uart.send(message, self.now_s)

    # -- sampling -----------------------------------------------------------------------------------------------------

    def _sample(self) -> None:
        taken_s = self.now_s
        for channel in sorted(self._channels):
            reading = self.panel.analog(channel)
            self._send(bytes((ANALOG | channel, reading & 0x7F, reading >> 7 & 0x7F)))
        # The loop catches up with a schedule of whole intervals, one sample at a time.
        self._due_s += self._interval_s
        late_s = self.timing.jitter_s * self._uniform()
        if self._uniform() < self.timing.late_share:
            late_s = self.timing.late_s * self._uniform()
        self._sample_s = max(self._due_s + late_s, taken_s + self.timing.least_spacing_s)

    def _sample_again(self) -> None:
        """Sampling begins, or the interval has changed."""
        self._due_s = self._sample_s = self.now_s + self._interval_s if self._channels else inf

    def _scan(self) -> None:
        for port in sorted(self._reported_ports):
            levels = self._port(port)
            if levels != self._told[port]:
                self._tell_port(port, levels)

    def _tell_port(self, port: int, levels: int) -> None:
        self._told[port] = levels
        self._send(bytes((DIGITAL | port, levels & 0x7F, levels >> 7 & 0x7F)))

    def _port(self, port: int) -> int:
        """Levels of the input pins of a port."""
        levels = 0
        for bit in range(8):
            mode = self._modes.get(8 * port + bit, OUTPUT)
            if mode in {INPUT, PULL_UP} and self.panel.read(8 * port + bit, pulled_up=mode == PULL_UP):
                levels |= 1 << bit
        return levels

    # -- bytes --------------------------------------------------------------------------------------------------------

    def _byte(self, byte: int) -> None:
        """One byte for the parser: a command byte begins a message anew, whatever was before."""
        message = self._message
        if byte >= 0x80 and not (byte == SYSEX_END and message[:1] == bytes((SYSEX,))):
            message.clear()
            message.append(byte)
        elif message:
            message.append(byte)
        if not message:
            return
        if message[0] == SYSEX:
            if byte == SYSEX_END:
                self._sysex(bytes(message[1:-1]))
                message.clear()
            elif len(message) > LONGEST_SYSEX:
                message.clear()
            return
        kind = message[0] if message[0] >= SYSEX else message[0] & 0xF0
        if len(message) > LENGTHS.get(kind, 0):
            self._command(kind, message[0] & 0x0F, bytes(message[1:]))
            message.clear()

    def _command(self, kind: int, low: int, rest: bytes) -> None:
        match kind:
            case _ if kind == DIGITAL:
                self._write_port(low, rest[0] | rest[1] << 7)
            case _ if kind == REPORT_ANALOG:
                self._report_channel(low, bool(rest[0]))
            case _ if kind == REPORT_PORT:
                self._report_port(low, bool(rest[0]))
            case _ if kind == PIN_MODE:
                self._set_mode(rest[0], rest[1])
            case _ if kind == PIN_LEVEL:
                self._write(rest[0], bool(rest[1]))
            case _ if kind == VERSION:
                self._send(bytes((VERSION, *self.timing.version)))
            case _ if kind == RESET:
                self._reset_state()
                self._float()

    def _sysex(self, body: bytes) -> None:
        match body[:1]:
            case b"\x79":
                self._tell_firmware()
            case b"\x69":
                channels = (pin - FIRST_ANALOG_PIN if pin >= FIRST_ANALOG_PIN else 0x7F for pin in range(PINS))
                self._send(bytes((SYSEX, ANALOG_MAP_REPLY, *channels, SYSEX_END)))
            case b"\x6b":
                pins = b"".join(_capabilities(pin) for pin in range(PINS))
                self._send(bytes((SYSEX, CAPABILITIES_REPLY, *pins, SYSEX_END)))
            case b"\x7a" if len(body) >= 3:
                self._interval_s = max(1, body[1] | body[2] << 7) / 1000.0
                self._sample_again()

    def _tell_firmware(self) -> None:
        name = b"".join(bytes((letter & 0x7F, letter >> 7)) for letter in NAME)
        self._send(bytes((SYSEX, FIRMWARE, *self.timing.version, *name, SYSEX_END)))

    def _report_channel(self, channel: int, on: bool) -> None:
        if channel >= CHANNELS:
            return
        began = not self._channels
        self._channels = self._channels | {channel} if on else self._channels - {channel}
        if began or not self._channels:
            self._sample_again()

    def _report_port(self, port: int, on: bool) -> None:
        if port >= PORTS:
            return
        self._reported_ports = self._reported_ports | {port} if on else self._reported_ports - {port}
        if on:
            self._tell_port(port, self._port(port))

    # -- pins ---------------------------------------------------------------------------------------------------------

    def _set_mode(self, pin: int, mode: int) -> None:
        if FIRST_FREE_PIN <= pin < PINS and mode in {INPUT, OUTPUT, ANALOG_INPUT, PULL_UP}:
            self._modes[pin] = mode
            self._levels[pin] = False
            self.panel.write(pin, False, self.now_s)

    def _write_port(self, port: int, levels: int) -> None:
        for bit in range(8):
            self._write(8 * port + bit, bool(levels >> bit & 1))

    def _write(self, pin: int, high: bool) -> None:
        if FIRST_FREE_PIN <= pin < PINS and self._modes[pin] == OUTPUT and self._levels[pin] != high:
            self._levels[pin] = high
            self.panel.write(pin, high, self.now_s)


def _capabilities(pin: int) -> bytes:
    """Modes of a pin, each with its resolution in bits."""
    if pin < FIRST_FREE_PIN:
        return b"\x7f"
    modes = bytes((INPUT, 1, OUTPUT, 1, PULL_UP, 1))
    return modes + (bytes((ANALOG_INPUT, 10)) if pin >= FIRST_ANALOG_PIN else b"") + b"\x7f"
