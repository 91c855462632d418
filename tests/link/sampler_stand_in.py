"""A stand-in for the sampler board, as little as the tests need, written from wires.md and electrics.md."""

from __future__ import annotations

from dataclasses import dataclass, field

BANNER = b"\xf9\x02\x05"
FIRMWARE = b"\xf0\x79\x02\x05S\x00k\x00\xf7"
UNO_PINS = 20
FIRST_ANALOG = 14


@dataclass
class SamplerStandIn:
    """Pins, ports and one analog stream. `levels` are what is on the input pins; low is well."""

    banner: bytes = BANNER
    pull_ups: bool = True
    bits: int = 10
    said: bytearray = field(default_factory=bytearray)
    writes: list[bytes] = field(default_factory=list)
    modes: dict[int, int] = field(default_factory=dict)
    pins: dict[int, int] = field(default_factory=dict)
    levels: dict[int, int] = field(default_factory=dict)
    reported_ports: set[int] = field(default_factory=set)
    streaming: bool = False
    interval_ms: int = 19
    edges: int = 0
    mute: bool = False

    def boot(self) -> None:
        self.said += self.banner + FIRMWARE

    def take(self, written: bytes) -> None:
        self.writes.append(written)
        place = 0
        while place < len(written):
            place += self.message(written[place:])

    def message(self, rest: bytes) -> int:
        command = rest[0]
        if command == 0xF0:
            end = rest.index(0xF7)
            self.sysex(rest[1], rest[2:end])
            return end + 1
        if command == 0xF9:
            self.said += self.banner
            return 1
        if command == 0xFF:
            self.pins = dict.fromkeys(self.pins, 0)
            self.streaming = False
            self.reported_ports.clear()
            return 1
        return self.order(command, rest)

    def order(self, command: int, rest: bytes) -> int:
        if command == 0xF4:
            self.modes[rest[1]] = rest[2]
            if rest[2] == 1:
                self.pins[rest[1]] = 0
        elif command == 0xF5:
            self.edges += rest[1] == 6 and self.pins.get(6) != rest[2]
            self.pins[rest[1]] = rest[2]
        elif command & 0xF0 == 0xC0:
            self.streaming = bool(rest[1])
            return 2
        elif command & 0xF0 == 0xD0:
            self.reported_ports.add(command & 0x0F)
            self.tell(command & 0x0F)
            return 2
        elif command & 0xF0 == 0x90:
            for bit in range(8):
                self.pins[(command & 0x0F) * 8 + bit] = (rest[1] | rest[2] << 7) >> bit & 1
        else:
            raise AssertionError(f"not a message: {rest.hex()}")
        return 3

    def sysex(self, command: int, payload: bytes) -> None:
        if self.mute:
            return
        if command == 0x79:
            self.said += FIRMWARE
        elif command == 0x69:
            channels = [0x7F] * FIRST_ANALOG + list(range(UNO_PINS - FIRST_ANALOG))
            self.said += bytes([0xF0, 0x6A, *channels, 0xF7])
        elif command == 0x6B:
            self.said += b"\xf0\x6c" + b"".join(self.capability(pin) for pin in range(UNO_PINS)) + b"\xf7"
        elif command == 0x7A:
            self.interval_ms = payload[0] | payload[1] << 7

    def capability(self, pin: int) -> bytes:
        if pin < 2:
            return b"\x7f"
        analog = bytes([2, self.bits]) if pin >= FIRST_ANALOG else b""
        pull_up = b"\x0b\x01" if self.pull_ups else b""
        return b"\x00\x01\x01\x01" + pull_up + analog + b"\x7f"

    def tell(self, port: int) -> None:
        levels = sum(self.levels.get(port * 8 + bit, 0) << bit for bit in range(8))
        self.said += bytes([0x90 | port, levels & 0x7F, levels >> 7])

    def set(self, pin: int, level: int) -> None:
        self.levels[pin] = level
        if pin // 8 in self.reported_ports:
            self.tell(pin // 8)

    def sample(self, count: int) -> None:
        if self.streaming:
            self.said += bytes([0xE0, count & 0x7F, count >> 7])
