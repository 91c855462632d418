"""Random bytes into every parser: no exception, and the next good frame is decoded. `make fuzz` runs 10⁸ of them.

A third of the bytes are plain noise, a third are good frames with spoilt bytes, a third are cut-up good frames: noise
alone hardly ever gets past the first byte of a frame.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from random import Random

from controller.core.commands import Move
from controller.core.observation import BoardState
from controller.link.ack_replies import Kind, read_reply
from controller.link.firmata import Sampler
from controller.link.firmata_parser import Analog, FirmataParser
from controller.link.lines import LineReader
from controller.link.status_report import Report, read_report
from controller.link.status_settings import read_setting
from tests.link.stand_ins import Bench, machine

BLOCK = 512
FRAMES = (
    b"\xe0\x7f\x07",
    b"\x91\x01\x00",
    b"\xf9\x02\x05",
    b"\xf0\x79\x02\x05A\x00\xf7",
    b"\xf0\x6a\x7f\x7f\x00\x01\xf7",
    b"\xf0\x6c\x7f\x00\x01\x0b\x01\x7f\xf7",
    b"ok\r\n",
    b"ok N12 P15 B3\n",
    b"error:9\r\n",
    b"ALARM:1\r\n",
    b"<Idle|MPos:1.000,2.000,3.000|Bf:15,128>\r\n",
    b"Board 1.1 ['$' for help]\r\n",
    b"$100=250.000\r\n",
    b"start\n",
    b"Resend: 7\nok\n",
    b"echo:busy: processing\n",
    b'echo:Unknown command: "G1"\n',
    b"X:0 Y:0 Z:0 E:0 Count X:1 Y:2 Z:3\n",
    b"z_min: TRIGGERED\n",
    b"Error:halted\n",
)


def block(rng: Random) -> bytes:
    """Some bytes of one of the three kinds."""
    kind = rng.randrange(3)
    if kind == 0:
        return rng.randbytes(BLOCK)
    frames = bytearray(b"".join(rng.choices(FRAMES, k=BLOCK // 12)))
    for _ in range(rng.randrange(12)):
        place = rng.randrange(len(frames))
        if kind == 1:
            frames[place] = rng.randrange(256)
        else:
            del frames[place : place + rng.randrange(1, 6)]
    return bytes(frames)


def fuzz(target: Callable[[bytes, int], None], total: int, seed: int) -> int:
    """Feed so many bytes to one target in portions; returns how many went in."""
    rng = Random(seed)
    fed = 0
    while fed < total:
        received = block(rng)
        cut = rng.randrange(len(received))
        target(received[:cut], fed)
        target(received[cut:], fed)
        fed += len(received)
    return fed


def firmata_parser() -> Callable[[bytes, int], None]:
    """The sampler's messages."""
    parser = FirmataParser()

    def feed(received: bytes, _: int) -> None:
        parser.feed(received)
        assert parser.feed(b"\xe0\x7f\x07")[-1] == Analog(0, 1023)

    return feed


def line_readers() -> Callable[[bytes, int], None]:
    """Framing and all readers of lines."""
    reader = LineReader()
    good = b"\n<Idle|MPos:1.000,2.000,3.000>\r\nok N3\n"

    def feed(received: bytes, _: int) -> None:
        for line in reader.feed(received):
            read_reply(line), read_report(line), read_setting(line)
        *_, report, ok = reader.feed(good)
        assert read_report(report) == Report("Idle", (1.0, 2.0, 3.0))
        assert read_reply(ok).kind is Kind.OK

    return feed


def board(convention: str) -> Callable[[bytes, int], None]:
    """A whole board of a convention, at work: whatever it is fed, it can be connected and homed again afterwards."""
    bench = Bench(convention)
    blocks = 0

    def feed(received: bytes, _: int) -> None:
        nonlocal blocks
        if blocks % 200 == 0:
            bench.stand_in.said.clear()
            bench.connect().home()
        blocks += 1
        link = bench.board
        link.receive(received, bench.now_s)
        link.carry_out(Move(1000.0, 1000.0, -1000.0 - blocks % 100, 5000.0, blocks % 3 == 0), bench.now_s)
        bench.look()
        assert link.state in BoardState

    return feed


def sampler() -> Callable[[bytes, int], None]:
    """The whole sampler: after any bytes the next good reading arrives."""
    link = Sampler(machine())
    link.start(0.0)

    def feed(received: bytes, fed: int) -> None:
        time_s = fed * 1e-4
        link.receive(received, time_s)
        link.receive(b"\xe0\x7f\x07", time_s)
        link.pending(time_s)
        assert link.take_samples()[-1] == 1023

    return feed


TARGETS: dict[str, Callable[[], Callable[[bytes, int], None]]] = {
    "sampler messages": firmata_parser,
    "board lines": line_readers,
    "status board": lambda: board("status"),
    "ack board": lambda: board("ack"),
    "sampler": sampler,
}


def main() -> None:
    """Fuzz every parser with as many bytes as asked for."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--bytes", type=int, default=1_000_000)
    arguments.add_argument("--seed", type=int, default=1)
    asked = arguments.parse_args()
    for name, target in TARGETS.items():
        fed = fuzz(target(), asked.bytes, asked.seed)
        print(f"{name}: {fed} bytes, no exception, every good frame after them decoded", flush=True)


if __name__ == "__main__":
    main()
