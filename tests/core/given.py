"""What the core is given in these tests: a machine, a small job, a technology, and a plan made by hand."""

from __future__ import annotations

from typing import Any

from controller.core.controller import Controller, new_electrode
from controller.core.interlocks import Interlocks
from controller.core.observation import BoardState, Observation
from controller.core.phases import PhaseMachine
from controller.core.rig import Rig, Setting
from controller.core.sense import Sense
from controller.core.servo import Servo
from controller.plan.overcut import learn_overcut
from controller.plan.plan import Plan, PlannedHole
from controller.settings.job import Electrode, Holes, Job, JobHead, Points, Work
from controller.settings.machine import Machine, Water
from controller.settings.technology import Guess, Pair, Technology

MACHINE = Machine(name="bench", water=Water(drip_pause_s=0.2))
TECHNOLOGY = Technology(
    pair=Pair(name="pair", electrode="tungsten", work=["stainless steel"]),
    overcut_mm=Guess(guess=0.14, u=0.025),
    removal_mm3_s=Guess(guess=0.05, u=0.02),
    volumetric_wear=Guess(guess=0.10, u=0.05),
    cone_diameters=Guess(guess=0.8, u=0.3),
)
JOB = Job(
    job=JobHead(name="two", technology="pair"),
    work=Work(
        material="stainless steel",
        thickness_mm=1.0,
        clear_below_mm=2.5,
        touch_points_mm=[(2.0, 2.0), (38.0, 2.0), (20.0, 38.0)],
    ),
    electrode=Electrode(material="tungsten", diameter_mm=1.2, length_mm=120.0, min_length_mm=25.0),
    holes=Holes(diameter_mm=1.5, tolerance_mm=0.05, pattern=[Points(kind="list", at_mm=[(10.0, 10.0), (20.0, 20.0)])]),
)
PLAN = Plan(
    holes=(PlannedHole(1, 50.0, 50.0), PlannedHole(2, 60.0, 60.0)),
    touch_points_mm=((42.0, 42.0), (78.0, 42.0), (60.0, 78.0)),
)


def setting(machine: Machine = MACHINE, job: Job = JOB) -> Setting:
    return Setting(machine, job, TECHNOLOGY, PLAN, learn_overcut(TECHNOLOGY.overcut_mm, ()))


def controller(machine: Machine = MACHINE, job: Job = JOB) -> Controller:
    given = setting(machine, job)
    return Controller(given.machine, given.job, given.technology, given.plan, given.overcut)


def rig(machine: Machine = MACHINE, job: Job = JOB) -> Rig:
    """What cycles share, before the first tick: `rig(...).sense.take(seen(...))` makes one."""
    given = setting(machine, job)
    return Rig(
        given,
        Sense(machine),
        PhaseMachine(),
        Interlocks(machine),
        Servo(1.0 / machine.tick_hz, 40.0),
        new_electrode(given),
    )


def seen(**changes: Any) -> Observation:
    """A machine at rest with all well, homed at the middle of its travel; `changes` replace fields."""
    fields: dict[str, Any] = {
        "time_s": 0.0,
        "samples": [614] * 10,
        "sampler_age_s": 0.001,
        "contact_open": True,
        "flow": False,
        "stop_pressed": False,
        "guard_closed": True,
        "level_ok": True,
        "x_um": 100_000.0,
        "y_um": 100_000.0,
        "z_um": -5_000.0,
        "queued": 0,
        "board": BoardState.READY,
        "homed": True,
    }
    return Observation(**(fields | changes))
