"""Replay of a ten-minute capture: the same events to the last one, and how many times faster than it happened."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from time import monotonic, process_time

from controller.host.capture import Capture
from controller.host.replay import Repeated, replay
from tests.benchmarks.wires.steps import ByBytes

CAPTURED_S = 600.0


@dataclass(slots=True, frozen=True)
class Replay:
    """What a replay brought: the same or not, events, and times real time by the wall's and the processor's clock."""

    convention: str
    same: bool
    events: int
    captured_s: float
    times_wall: float
    times_processor: float


def replayed(folder: Path, convention: str, seed: int) -> Replay:
    """Ten minutes of the diffuser plate by bytes, then the same from the capture."""
    wire = ByBytes(folder, convention, job="diffuser.toml", seed=seed, captures=True)
    for _ in wire.ticks(CAPTURED_S):
        pass
    path = folder / f"{convention}.bin"
    path.write_bytes(wire.capture or b"")
    began_s, worked_s, done = monotonic(), process_time(), Repeated()
    for step in replay(Capture(path)):
        done = step
    wall_s, processor_s = monotonic() - began_s, process_time() - worked_s
    return Replay(
        convention,
        done.difference is None and done.time_s > CAPTURED_S - 1.0,
        done.events,
        done.time_s,
        done.time_s / wall_s,
        done.time_s / processor_s,
    )
