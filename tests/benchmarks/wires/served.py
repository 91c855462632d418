"""The virtual machine of `simulate` on real ports, looked at from behind: `python -m tests.benchmarks.wires.served`.

A process of its own, as the real machine is. Lines typed into it: `unplug board`, `unplug sampler`, `unplug both` pull
cables, the boards living on, which is the worst case; `end` ends it. It writes lines of JSON on standard output:
`{"ready": true}`; `{"eroding": true}` once sparks have come in a hole, and again in the moment of a spark after `mark`
was typed; at the end everything it saw.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections import deque
from dataclasses import asdict
from math import inf
from pathlib import Path
from time import monotonic

from controller.commands_simulate import with_ports
from controller.plan.build import build_plan
from controller.settings.load import load_job, load_machine
from controller.settings.units import UM_PER_MM
from sim.ports import TerminalPort, Typed, serve
from sim.settings import load_plant
from tests.benchmarks.wires.watch import ShortWatch, Watched

# Sparks in a hole before it counts as eroded: a second's worth of a usual front. Chosen.
SPARKS = 100
# Changes kept: half a minute of single steps. Chosen.
LOG_MOST = 5000


class Cable:
    """A port with a cable that can be pulled: nothing passes any more, and the host's end has gone."""

    def __init__(self) -> None:
        self._port: TerminalPort | None = TerminalPort()
        self.url = self._port.url

    def look(self) -> tuple[bool, bytes]:
        """What came."""
        return self._port.look() if self._port else (False, b"")

    def write(self, wire: bytes) -> None:
        """Send."""
        if self._port:
            self._port.write(wire)

    def close(self) -> None:
        """Pull it."""
        if self._port:
            self._port.close()
        self._port = None


class SafetyWatch:
    """When the source went off, when the water stopped, where axis and holder's face stood, by the wall's clock.

    Attributes:
        log: (wall clock in s, live, flow, height of the face and of the axis in um) at every change, the latest ones.
        wanted: Say so at a spark once there were more than this; 0 when nobody asks.
    """

    def __init__(self, machine: Watched, steps_um: float) -> None:
        self._truth = machine.plant.truth
        self._planner, self._steps_um = machine.motion.planner, steps_um
        self._last: tuple[bool, bool, float, float] = (False, False, inf, inf)
        self._sparks = 0
        self.wanted = SPARKS
        self.log: deque[tuple[float, bool, bool, float, float]] = deque(maxlen=LOG_MOST)

    def look(self, _now_s: float) -> None:
        """A millisecond has passed."""
        truth = self._truth
        axis_um = self._planner.steps[2] * self._steps_um
        seen = (truth.live, truth.flow, truth.face_mm[2] * UM_PER_MM, axis_um)
        if seen != self._last:
            self._last = seen
            self.log.append((monotonic(), *seen))
        sparked, self._sparks = truth.erosion.sparks > self._sparks, truth.erosion.sparks
        if self.wanted and sparked and truth.live and truth.erosion.sparks > self.wanted:
            self.wanted = 0
            say({"eroding": True})


def say(told: dict[str, object]) -> None:
    """One line for whoever started this process."""
    print(json.dumps(told), flush=True)


def main() -> None:
    """Serve until told to end, or left alone."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name in ("machine", "job", "write-machine"):
        parser.add_argument(f"--{name}", type=Path, required=True)
    parser.add_argument("--plant", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    machine, job = load_machine(given.machine), load_job(given.job)
    wired = Watched(machine, job, build_plan(job, machine), load_plant(given.plant), given.seed)
    cables = {"board": Cable(), "sampler": Cable()}
    shorts, safety = ShortWatch(wired), SafetyWatch(wired, UM_PER_MM / machine.axes.steps_per_mm[2])
    wired.eyes += [shorts.look, safety.look]
    listen_in(wired, shorts)
    text = given.machine.read_text(encoding="utf-8")
    given.write_machine.write_text(with_ports(text, cables["board"].url, cables["sampler"].url), encoding="utf-8")
    say({"ready": True})
    typed, parent = Typed(sys.stdin), os.getppid()

    def over() -> bool:
        for line in typed.lines():
            if line == "end":
                return True
            if line == "mark":
                safety.wanted = SPARKS
                continue
            for name in cables if line.endswith("both") else [line.split()[-1]]:
                cables[name].close()
            say({"unplugged_s": monotonic()})
        return os.getppid() != parent

    pace = serve(wired, (cables["board"], cables["sampler"]), 1.0, over)
    say(
        {
            "shorts": [asdict(each) for each in shorts.shorts],
            "log": list(safety.log),
            "prompt": pace.prompt,
            "slips": pace.slips,
            "slipped_s": pace.slipped_s,
        }
    )


def listen_in(wired: Watched, shorts: ShortWatch) -> None:
    """Let the watch hear what reaches the motion board's port."""
    receive = wired.motion.receive

    def heard(wire: bytes) -> None:
        shorts.heard(wire, wired.now_s)
        receive(wire)

    wired.motion.receive = heard  # type: ignore[method-assign]  # listening in on the wire


if __name__ == "__main__":
    main()
