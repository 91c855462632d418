"""Repeating a run from its capture: the same bytes in, through the same link and core, must bring the same out."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

from controller.core.controller import Controller
from controller.host.capture import Capture, event_rows
from controller.host.session import Session
from controller.link.machine_link import MachineLink
from controller.plan.build import build_plan
from controller.plan.overcut import Overcut
from controller.record.journal import StartRecord
from controller.settings.calibration import Calibration, calibrated
from controller.settings.job import Job
from controller.settings.load import load_text
from controller.settings.machine import Machine
from controller.settings.technology import Technology


@dataclass(slots=True, frozen=True)
class Difference:
    """Where a repeated run first went another way: when, in what, what the capture holds and what came now."""

    time_s: float
    what: str
    captured: str
    repeated: str


@dataclass(slots=True)
class Repeated:
    """How far a replay got: ticks and events that were the same, machine time, and the first difference."""

    ticks: int = 0
    events: int = 0
    time_s: float = 0.0
    difference: Difference | None = None


def session_of(start: StartRecord) -> Session:
    """The session of a start record, at its beginning.

    Raises:
        SettingsError, PlanRefused: This version does not take these settings any more.
    """
    machine = load_text(start.machine_toml, start.machine, Machine)
    if start.calibration_toml:
        machine = calibrated(machine, load_text(start.calibration_toml, "calibration", Calibration))
    job = load_text(start.job_toml, start.job, Job)
    technology = load_text(start.technology_toml, start.technology, Technology)
    overcut = Overcut(start.overcut_mm, start.overcut_u_mm, start.overcut_scatter_mm, start.overcut_n)
    core = Controller(machine, job, technology, build_plan(job, machine), overcut)
    return Session(MachineLink(machine), core)


def replay(capture: Capture) -> Iterator[Repeated]:
    """Repeat a run tick by tick, the same object handed out after each; ends at the first difference."""
    session, done = session_of(capture.start), Repeated()
    for look, board, sampler, events in capture.ticks():
        outcome = session.look(look)
        done.ticks += 1
        done.time_s = look.time_s
        if outcome.board != board or outcome.sampler != sampler:
            done.difference = _bytes_differ(look.time_s, (board, sampler), (outcome.board, outcome.sampler))
        elif events or outcome.events:
            # Through JSON, as the captured ones went.
            came = json.loads(json.dumps(event_rows(outcome.events)))
            if came == events:
                done.events += len(events)
            else:
                done.difference = Difference(look.time_s, "events", repr(events), repr(came))
        yield done
        if done.difference is not None:
            return


def _bytes_differ(time_s: float, captured: tuple[bytes, bytes], repeated: tuple[bytes, bytes]) -> Difference:
    wire = 0 if captured[0] != repeated[0] else 1
    what = f"bytes to the {('board', 'sampler')[wire]}"
    return Difference(time_s, what, repr(captured[wire]), repr(repeated[wire]))
