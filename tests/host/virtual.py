"""A session on the virtual machine's boards, byte by byte in virtual time: no port, no clock, no process."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from controller.core.events import Event
from controller.core.requests import Request
from controller.core.standing import standing
from controller.host.capture import head_bytes, look_bytes
from controller.host.session import Look, Session
from controller.link.machine_link import MachineLink, Wire
from controller.settings.load import load_machine, resolve
from controller.workshop import assignment, controller_for, start_record
from sim.injector import planned
from sim.settings import load_plant
from sim.wired import WiredMachine

JOB = """
[job]
name = "one-hole"
technology = "tungsten-on-stainless"

[work]
material = "stainless steel"
thickness_mm = 0.1
clear_below_mm = 6.0
touch_points_mm = [[2.0, 2.0], [12.0, 2.0], [7.0, 12.0]]

[electrode]
material = "tungsten"
diameter_mm = 1.2
length_mm = 120.0
min_length_mm = 25.0

[holes]
diameter_mm = 1.5
tolerance_mm = 0.05

[[holes.pattern]]
kind = "list"
at_mm = [[7.0, 7.0]]
"""
MOST_S = 600.0  # of machine time: a run that takes longer hangs


class VirtualRun:
    """One hole in thin sheet, or another job, driven by bytes.

    Args:
        folder: Where the job and machine files are written.
        convention: `status` or `ack`.
        front_end: Of the sampler.
        faults: What goes wrong, as `simulate --fault` takes it.
        job: The text of the job file.
        seed: Of the plant and its boards.

    Attributes:
        session, wired: Both ends; `given` what the session was given.
        events, capture: What the run has left so far.
        cut: Wires that lead nowhere any more.
        time_s: Since the machine was switched on; `base_s` of it had passed when the present host opened the ports.
    """

    def __init__(
        self,
        folder: Path,
        convention: str,
        front_end: str = "clamp",
        faults: Sequence[str] = (),
        *,
        job: str = JOB,
        seed: int = 3,
    ) -> None:
        job_file, machine = folder / "one-hole.toml", folder / f"{convention}-{front_end}.toml"
        job_file.write_text(job, encoding="utf-8")
        shipped = resolve(f"{convention}.toml", kind="machines").read_text(encoding="utf-8")
        machine.write_text(shipped.replace('front_end = "clamp"', f'front_end = "{front_end}"'), encoding="utf-8")
        assert load_machine(machine).sampler.front_end == front_end
        self.given = given = assignment(str(job_file), str(machine), rehearsed=False)
        injected = tuple(planned(spec, convention) for spec in faults)
        self.wired = WiredMachine(given.machine, given.job, given.plan, load_plant(), seed, injected)
        self.session = Session(MachineLink(given.machine), controller_for(given))
        self.events: list[Event] = []
        stamp = f"{datetime(2020, 1, 1, tzinfo=UTC):%Y-%m-%dT%H:%M:%SZ}"
        self.capture = bytearray(head_bytes(start_record(given, stamp)))
        self.cut: dict[Wire, str] = {}
        self._tick_s = 1.0 / given.machine.tick_hz
        self.time_s = self.base_s = 0.0
        self.wired.motion.boot()
        self.wired.sampler.boot()

    def tick(
        self, requests: Sequence[Request] = (), lost: Sequence[tuple[Wire, str]] = (), wait_s: float = 0.0
    ) -> None:
        """One tick, `wait_s` later than it should be."""
        self.time_s += self._tick_s + wait_s
        board, sampler = self.wired.advance(self.time_s)
        self.cut |= dict(lost)
        look = Look(
            self.time_s - self.base_s,
            b"" if Wire.BOARD in self.cut else board,
            b"" if Wire.SAMPLER in self.cut else sampler,
            requests,
            lost=lost,
        )
        outcome = self.session.look(look)
        if Wire.BOARD not in self.cut:
            self.wired.motion.receive(outcome.board)
        if Wire.SAMPLER not in self.cut:
            self.wired.sampler.receive(outcome.sampler)
        self.events += outcome.events
        self.capture += look_bytes(look, outcome)

    def alone(self, seconds: float) -> None:
        """The wires lead nowhere: nobody writes, nobody reads."""
        self.time_s += seconds
        self.wired.advance(self.time_s)

    def another_host(self) -> None:
        """Opening the ports resets both boards; the run is taken up from the events that there are."""
        before = standing(self.events)
        self.wired.motion.boot()
        self.wired.sampler.boot()
        self.session = Session(MachineLink(self.given.machine), controller_for(self.given, before), before.time_s)
        self.base_s = self.time_s

    def until(self, true: Callable[[], bool]) -> None:
        """Tick until something is true or the session has come to its end."""
        while not (true() or self.session.over or self.session.unfit):
            assert self.time_s < MOST_S, f"hangs: {self.session.snapshot()}"
            self.tick()

    def to_end(self) -> None:
        """Tick until the session is over."""
        self.until(lambda: False)

    def until_phase(self, phase: str) -> None:
        """Tick until the core is in a phase."""
        self.until(lambda: self.session.core.phase.value == phase)
        assert self.session.core.phase.value == phase, self.events[-3:]

    @property
    def kinds(self) -> list[str]:
        """The kinds of all events so far."""
        return [event.kind for event in self.events]
