"""The campaign over the wires: byte for byte through both boards, in virtual time, hosts that die included.

Like `drill.py`, with boards between core and plant: what the host knows it has from bytes, and what breaks may break a
board. `host-killed` drops the host between two ticks; the plant lives on alone, and another host takes the run up.
"""

from __future__ import annotations

import tempfile
import traceback
from collections.abc import Container, Sequence
from math import inf
from pathlib import Path
from random import Random

from controller.core.events import Event
from controller.core.requests import Request
from sim.injector import names
from sim.monitor import HOST_DEAD_S, PlantMonitor
from sim.operator import NO_REQUESTS, VirtualOperator
from sim.random import Streams
from tests.campaign.drill import AFTER_S, BEYOND_THE_HOST, SMALL_JOB, Drill, note
from tests.host.virtual import VirtualRun

WireTask = tuple[str, str, str, int]  # convention, front end, specification of the fault, seed

# What only `check` looks for (commissioning), and the death of the host, which is not a fault of the machine.
COMMISSIONING = frozenset({"x-reversed", "y-reversed", "z-reversed", "idle-lock", "noisy-front-end", "source-reversed"})
KILLED = "host-killed"
AWAY_S = 5.0  # a host takes a while to come back
LIMIT_S = 2500.0  # of machine time for a life: ten times what the job needs


def wire_faults(convention: str) -> list[str]:
    """What can go wrong over the wires in a job on a board of this convention."""
    there = [name for name in names(rehearsed=False) if name not in COMMISSIONING]
    return [KILLED, *(name for name in there if convention == "ack" or name != "resend-storm")]


def drawn(runs: int, seed: int) -> list[WireTask]:
    """Conventions, front ends, specifications and seeds: every fault about equally often, conventions in turn."""
    chance = Random(seed)
    tasks = []
    for run in range(runs):
        convention = ("status", "ack")[run % 2]
        faults = wire_faults(convention)
        name = faults[run // 2 % len(faults)]
        when = f"t:{chance.uniform(20.0, 200.0):.2f}s" if chance.random() < 0.4 else _in_hole(chance)
        front_end = chance.choice(["clamp", "biased", "divider"])
        tasks.append((convention, front_end, f"{name}@{when}", chance.randrange(2**31)))
    return tasks


def _in_hole(chance: Random) -> str:
    return f"hole:{chance.randint(1, 3)}+{chance.uniform(0.0, 20.0):.2f}s"


class Kill:
    """When the host dies: so long after the start, or after the electrode first stood over a hole (s), or never.

    Attributes:
        due_s: The moment, once it is known.
    """

    def __init__(self, spec: str) -> None:
        name, _, when = spec.partition("@")
        self.due_s, self._hole, self._after_s = inf, 0, 0.0
        if name != KILLED:
            return
        if when.startswith("t:"):
            self.due_s = float(when[2:-1])
        else:
            hole, _, after = when.removeprefix("hole:").partition("+")
            self._hole, self._after_s = int(hole), float(after.rstrip("s") or 0.0)

    def look(self, now_s: float, begun: Container[int]) -> bool:
        """Whether it is due."""
        if self._hole in begun:
            self.due_s, self._hole = now_s + self._after_s, 0
        return now_s >= self.due_s


class WireDrill:
    """One run with something going wrong in it, watched by the plant's own monitor."""

    def __init__(self, folder: Path, convention: str, front_end: str, spec: str, seed: int) -> None:
        self.done = Drill(spec, seed)
        faults = [] if self.done.name == KILLED else [spec]
        job = SMALL_JOB.read_text("utf-8")
        self.run = VirtualRun(folder, convention, front_end, faults, job=job, seed=seed)
        wired, machine = self.run.wired, self.run.given.machine
        self.operator = VirtualOperator(wired.plant, machine.holder.protrusion_mm, Streams(seed))
        self.monitor = PlantMonitor(machine, wired.injector)
        self._kill = Kill(spec)
        self._told = 0

    def lives(self, most: int) -> Drill:
        """Run to the end; what ends in a fault or a hold is mended and taken up, up to `most` times in all."""
        done = self.done
        while done.lives < most and done.outcome != "complete":
            if done.lives:
                self.run.wired.injector.mend()
                self.run.alone(AWAY_S)
                self.run.another_host()
            self._live()
            done.lives += 1
        done.seconds = self.run.time_s
        done.breaches += self.monitor.breaches
        return done

    def _live(self) -> None:
        run = self.run
        began_s = run.time_s
        while not (run.session.over or run.session.unfit):
            if run.time_s - began_s > LIMIT_S:
                self.done.outcome, self.done.reason = "endless", f"no end by {LIMIT_S:.0f} s"
                return
            run.tick(self._answers())
            self.monitor.watch(run.wired.plant)
            self._note(run.events[self._told :])
            if self._kill.look(run.time_s, run.wired.plant.truth.holes):
                self._die()
        if run.session.unfit:
            self.done.outcome, self.done.reason = "fault", "; ".join(map(str, run.session.unfit))
            self.done.told.append("unfit")
        self._settle()

    def _answers(self) -> Sequence[Request]:
        waiting = self.run.session.waiting
        return NO_REQUESTS if waiting is None else self.operator.requests(self.run.time_s, waiting)

    def _note(self, events: Sequence[Event]) -> None:
        done, injector = self.done, self.run.wired.injector
        self._told += len(events)
        if done.injected_s is None and injector.done:
            done.injected_s, done.live = injector.done[0][1], self.run.wired.plant.contacts.live
        note(done, events, self.run.base_s)

    def _die(self) -> None:
        """The host is gone between two ticks: the gate lets the source go, then the water; another host comes."""
        run, done, self._kill.due_s = self.run, self.done, inf
        done.injected_s, done.live = run.time_s, run.wired.plant.contacts.live
        run.alone(HOST_DEAD_S)
        if run.wired.plant.truth.live:
            done.unsafe = "source still on 120 ms after the host's death"
        run.alone(AWAY_S)
        if run.wired.plant.truth.flow:
            done.unsafe = "water still on after the host's death"
        self.operator = VirtualOperator(run.wired.plant, run.given.machine.holder.protrusion_mm, Streams(done.seed))
        run.another_host()

    def _settle(self) -> None:
        """The host has let go of the ports; is everything off?"""
        self.run.alone(AFTER_S)
        truth = self.run.wired.plant.truth
        left = [
            name for name, on in (("source", truth.live), ("sensing", truth.sensing_on), ("water", truth.flow)) if on
        ]
        if left and self.done.name not in BEYOND_THE_HOST:
            self.done.unsafe = f"left on: {', '.join(left)}"


def wire_drill(task: WireTask) -> Drill:
    """One run over the wires. Top-level, so that another process can be asked."""
    with tempfile.TemporaryDirectory() as folder:
        running = WireDrill(Path(folder), *task)
        try:
            return running.lives(2)
        except Exception:  # noqa: BLE001 - whatever it is, it is counted
            running.done.uncaught = traceback.format_exc()
            return running.done
