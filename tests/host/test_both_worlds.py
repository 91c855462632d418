"""One core, two worlds: what it was shown, written down and shown to a fresh core, brings the same events again.

The rehearsal joins core and plant directly; the session joins them by bytes on two wires. If the core looked at
anything beside its observations and requests, it could tell the worlds apart, and one of the two would differ here.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import astuple, fields
from pathlib import Path

import pytest

from controller.core.controller import Controller
from controller.core.events import Event, RunEnded
from controller.core.observation import BoardState, Observation
from controller.core.requests import Request
from controller.host.capture import Capture
from controller.host.replay import session_of
from controller.workshop import Assignment, assignment, controller_for
from sim.machine import VirtualMachine
from sim.rehearsal import Ticked
from sim.settings import load_plant
from tests.host.golden import FOLDER, SUFFIX
from tests.host.virtual import VirtualRun

LONGEST_S = 300.0


class Writer:
    """A core that writes down all it is shown and all it tells, as text."""

    def __init__(self, core: Controller) -> None:
        self.core = core
        self.shown: list[str] = []
        self.told: list[Event] = []

    def tick(self, seen: Observation, requests: Sequence[Request] = ()) -> Ticked:
        """Pass a tick on."""
        assert not requests
        self.shown.append(json.dumps(astuple(seen)))
        out = self.core.tick(seen, requests)
        self.told += out.events
        return out

    @property
    def ended(self) -> RunEnded | None:
        """How it ended."""
        return self.core.ended


def rehearsed(given: Assignment) -> Writer:
    """The whole job with core and plant joined directly."""
    machine = VirtualMachine(given.machine, given.job, given.plan, load_plant(), 3)
    writer = Writer(controller_for(given))
    tick_s = 1.0 / given.machine.tick_hz
    while writer.core.ended is None and len(writer.shown) * tick_s < LONGEST_S:
        machine.carry_out(writer.tick(machine.advance(tick_s)).commands)
    return writer


def wired() -> Writer:
    """A whole job by bytes, as a golden capture holds it."""
    capture = Capture(FOLDER / f"status-clamp-hole{SUFFIX}")
    session = session_of(capture.start)
    writer = Writer(session.core)
    session.core = writer  # type: ignore[assignment]  # it passes on what a session asks of it
    for look, *_ in capture.ticks():
        session.look(look)
    return writer


def read(text: str) -> Observation:
    """An observation from its text."""
    seen = Observation(*json.loads(text))
    seen.board = BoardState(seen.board)
    return seen


@pytest.mark.parametrize("world", ["rehearsed", "wired"])
def test_observations_of_either_world_bring_the_same_events_through_a_fresh_core(tmp_path: Path, world: str) -> None:
    VirtualRun(tmp_path, "status")  # writes the files of the job
    given = assignment(str(tmp_path / "one-hole.toml"), str(tmp_path / "status-clamp.toml"), rehearsed=False)
    writer = rehearsed(given) if world == "rehearsed" else wired()
    assert writer.core.ended is not None
    assert writer.core.ended.outcome == "complete"
    fresh, told = controller_for(given), []
    for text in writer.shown:
        told += fresh.tick(read(text)).events
    assert told == writer.told
    assert len(told) > 50


def test_both_worlds_fill_every_field_of_an_observation(tmp_path: Path) -> None:
    """No field is left at something only one of the worlds could say."""
    run = VirtualRun(tmp_path, "status")
    given = assignment(str(tmp_path / "one-hole.toml"), str(tmp_path / "status-clamp.toml"), rehearsed=False)
    direct = VirtualMachine(given.machine, given.job, given.plan, load_plant(), 3).advance(0.01)
    run.until(lambda: run.session.driving)
    by_bytes = run.session.link.observe(run.time_s)
    for field in fields(Observation):
        assert type(getattr(direct, field.name)) is type(getattr(by_bytes, field.name)), field.name
