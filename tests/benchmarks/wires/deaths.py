"""What becomes of a machine whose host dies while it erodes: killed, frozen, or cut off."""

from __future__ import annotations

import os
import signal
from contextlib import suppress
from dataclasses import dataclass
from math import inf
from pathlib import Path
from time import monotonic, sleep
from typing import Final

from tests.benchmarks.wires.pair import Broken, host_end, machine_end

# Longer than the water may go on (2 s), the release of its valve included.
WATCHED_S = 4.0
WAYS: Final = ("killed", "frozen", "unplugged both", "unplugged sampler", "unplugged board")


def be_prompt() -> None:
    """Nothing may come between looking at the clock and killing; where the system refuses, times are upper bounds."""
    with suppress(AttributeError, OSError):
        os.sched_setscheduler(0, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(1))


@dataclass(slots=True, frozen=True)
class Death:
    """One death: times to source off and water off (s; inf for never), and how far axis and face went down after (µm).

    The face may go a little further than the axis: it frees itself of what friction had held it back by before.
    """

    way: str
    convention: str
    source_s: float
    water_s: float
    forward_um: float
    face_um: float


def died(folder: Path, convention: str, way: str, seed: int) -> Death:
    """Let a host die a few seconds into the first hole."""
    be_prompt()
    with (
        machine_end(folder, convention=convention, seed=seed) as machine,
        host_end(machine.machine, folder / "run") as host,
    ):
        machine.until("eroding")
        sleep(3.0)
        machine.say("mark")
        machine.until("eroding")
        at_s = monotonic()
        if way.startswith("unplugged"):
            machine.say(way.replace("unplugged", "unplug"))
            at_s = machine.until("unplugged_s")
        else:
            host.send_signal(signal.SIGKILL if way == "killed" else signal.SIGSTOP)
        sleep(WATCHED_S)
        log = machine.end()["log"]
    before = [entry for entry in log if entry[0] <= at_s]
    after = [entry for entry in log if entry[0] > at_s]
    if not before or not before[-1][1]:
        raise Broken(f"{way}: the source was not on when the host died")
    source_s = next((entry[0] - at_s for entry in after if not entry[1]), inf)
    water_s = next((entry[0] - at_s for entry in after if not entry[2]), inf)
    face_um, axis_um = (before[-1][at] - min([entry[at] for entry in after] or [before[-1][at]]) for at in (3, 4))
    return Death(way, convention, source_s, water_s, max(axis_um, 0.0), max(face_um, 0.0))
