"""The core of `check` and of single commands: a conductor on a bench without a job."""

from __future__ import annotations

from collections.abc import Callable

from controller.core.checks.examination import FAILED, Examination, not_done
from controller.core.checks.plan import commissioning, resumed
from controller.core.commands import Move
from controller.core.conductor import Conductor, TickOutput
from controller.core.electrode import Electrode
from controller.core.events import RunEnded
from controller.core.guards import NOT_ISOLATED
from controller.core.interlocks import Interlocks
from controller.core.phases import PhaseMachine, Trigger
from controller.core.rig import Bench, Cycle, Trip
from controller.core.sense import Sense
from controller.settings.machine import Machine


def bench_of(machine: Machine) -> Bench:
    """A machine whose electrode stands out as its file says, and nothing else known of it."""
    holder = machine.holder
    electrode = Electrode(holder.protrusion_mm, holder.protrusion_u_mm, 0.0, 0.0, holder.protrusion_mm, 0.0)
    return Bench(machine, Sense(machine), PhaseMachine(), Interlocks(machine), electrode)


class Commissioning(Conductor):
    """All checks of a machine, one after the other, whatever becomes of each.

    Args:
        machine: The machine file.
        answers: Somebody can answer prompts.
        hands_s: How long each thing done by hand is waited for (s); 0: nobody is there.
        left_out: Names of checks that are not wanted.
    """

    def __init__(self, machine: Machine, *, answers: bool, hands_s: float, left_out: frozenset[str]) -> None:
        bench = bench_of(machine)
        self._exam = Examination(bench, answers, hands_s, left_out)
        super().__init__(bench, commissioning(self._exam))
        # Before the first tick: what the guards would trip on is what is to be found out.
        bench.phases.fire(Trigger.INSPECT)

    def _after_fault(self, trip: Trip) -> Cycle[RunEnded] | None:
        exam = self._exam
        if exam.bench.locks.absent and trip.cause == NOT_ISOLATED:
            exam.bench.locks.absent = False  # the supply came back: nothing moves any more
            exam.found["supply"] = FAILED
        return resumed(exam, trip) if exam.current[0] else None

    def _end(self, out: TickOutput, outcome: str, reason: str) -> None:
        """However it ends, every check has its verdict."""
        exam = self._exam
        waiting = [(check.name, check.title) for check in exam.waiting if check.when(exam)]
        for name, title in (exam.current, *waiting):
            if name and name not in exam.found:
                exam.record(name, title, not_done(f"not reached: {reason}"))
        super()._end(out, outcome, reason)


class BenchWork(Conductor):
    """One thing done on a bench.

    Args:
        machine: The machine file.
        work: Makes the cycle that does it.
        stays: The axes are left where they stand when it went well.
    """

    def __init__(self, machine: Machine, work: Callable[[Bench], Cycle[RunEnded]], *, stays: bool = False) -> None:
        bench = bench_of(machine)
        self._stays = stays
        self._well = False
        super().__init__(bench, work(bench))

    def _end(self, out: TickOutput, outcome: str, reason: str) -> None:
        self._well = outcome == "complete"
        super()._end(out, outcome, reason)

    def _safe_lift(self) -> Move | None:
        return None if self._stays and self._well else super()._safe_lift()
