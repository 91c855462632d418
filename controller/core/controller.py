"""The controller of a job: a conductor whose cycle is the job's program. Decisions live in the parts."""

from __future__ import annotations

from collections.abc import Sequence

from controller.core.conductor import Conductor
from controller.core.cycles.take_up import remember
from controller.core.electrode import Electrode
from controller.core.events import Event, HoleFinished
from controller.core.gap import GapState
from controller.core.interlocks import Interlocks
from controller.core.phases import PhaseMachine
from controller.core.program import holes_to_measurement, program
from controller.core.requests import HoldRequest, Request
from controller.core.rig import Rig, Setting, guessed_cone_mm
from controller.core.sense import Sense
from controller.core.servo import Servo
from controller.core.snapshot import Snapshot
from controller.core.standing import Standing
from controller.plan.overcut import Overcut
from controller.plan.plan import Plan
from controller.plan.wear import disc_area_mm2, length_lost_mm
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.technology import Technology
from controller.settings.units import UM_PER_MM


class Controller(Conductor):
    """The whole control core of a job. Pure: `tick` in, `TickOutput` out; no I/O, no clock, no randomness.

    With `before` it takes up a run that ended early or broke off.
    """

    def __init__(
        self,
        machine: Machine,
        job: Job,
        technology: Technology,
        plan: Plan,
        overcut: Overcut,
        before: Standing | None = None,
    ) -> None:
        given = Setting(machine, job, technology, plan, overcut)
        rig = Rig(
            given,
            Sense(machine),
            PhaseMachine(),
            Interlocks(machine),
            Servo(1.0 / machine.tick_hz, foretold_front_um_s(given)),
            new_electrode(given),
        )
        self._holes_done = 0
        if before is not None:
            remember(rig, before)
            self._holes_done = len(before.finished)
        super().__init__(rig, program(rig))
        self._rig = rig

    @property
    def gap_state(self) -> GapState:
        """The most probable state of the gap; meaningful while the source is on."""
        return self._sense.gap.state

    @property
    def electrode(self) -> Electrode:
        """The belief about the electrode."""
        return self._rig.electrode

    def snapshot(self) -> Snapshot:
        """A picture of the core for a screen."""
        rig, gap = self._rig, self._sense.gap
        return Snapshot(
            rig.now_s,
            rig.phases.phase.value,
            rig.doing,
            rig.hole,
            self._holes_done,
            len(rig.given.plan.holes),
            rig.feed_um / UM_PER_MM,
            gap.p_open,
            gap.p_sparking,
            gap.p_shorted,
            gap.p_off,
            gap.spark_rate_hz,
            rig.servo.reference.centre,
            rig.electrode.tip_mm,
            rig.electrode.tip_u_mm,
            rig.electrode.cone_mm,
            rig.electrode.stock_mm,
            rig.pierce_um / UM_PER_MM,
            rig.full_um / UM_PER_MM,
            holes_to_measurement(rig),
            rig.wishes.words(),
        )

    def _heed(self, requests: Sequence[Request]) -> None:
        super()._heed(requests)
        for request in requests:
            if not isinstance(request, HoldRequest):
                self._rig.wishes.take(request)

    def _follow(self, events: Sequence[Event]) -> None:
        super()._follow(events)
        for event in events:
            if isinstance(event, HoleFinished):
                self._holes_done += 1


def foretold_front_um_s(given: Setting) -> float:
    """Speed of the whole front by the technology's removal rate: volume a second over the hole's area."""
    return given.technology.removal_mm3_s.guess / disc_area_mm2(given.job.holes.diameter_mm) * UM_PER_MM


def new_electrode(given: Setting) -> Electrode:
    """The belief about the rod before anything was measured: as the files say."""
    rod, holder, technology = given.job.electrode, given.machine.holder, given.technology
    hole_mm2 = disc_area_mm2(given.job.holes.diameter_mm)
    lost = length_lost_mm(
        technology.volumetric_wear.guess,
        hole_mm2,
        disc_area_mm2(rod.diameter_mm, rod.bore_mm),
        given.job.work.thickness_mm,
    )
    share_u = technology.volumetric_wear.u / technology.volumetric_wear.guess
    cone_mm = guessed_cone_mm(given)
    return Electrode(holder.protrusion_mm, holder.protrusion_u_mm, lost, lost * share_u, rod.length_mm, cone_mm)
