"""The core of `check` and of single commands: a conductor on a bench without a job."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from controller.core.checks.examination import Examination
from controller.core.checks.plan import commissioning, resumed
from controller.core.conductor import Conductor
from controller.core.electrode import Electrode
from controller.core.events import RunEnded
from controller.core.interlocks import Interlocks
from controller.core.phases import PhaseMachine
from controller.core.rig import Bench, Cycle, Trip
from controller.core.sense import Sense
from controller.settings.machine import Machine

# After these nothing can be found out any more: the inputs are not heard, or nobody waits for them.
LAST: Final = ("sampler silent",)


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

    def _after_fault(self, trip: Trip) -> Cycle[RunEnded] | None:
        if trip.cause in LAST or not self._exam.current[0]:
            return None
        return resumed(self._exam, trip)


class BenchWork(Conductor):
    """One thing done on a bench.

    Args:
        machine: The machine file.
        work: Makes the cycle that does it.
    """

    def __init__(self, machine: Machine, work: Callable[[Bench], Cycle[RunEnded]]) -> None:
        bench = bench_of(machine)
        super().__init__(bench, work(bench))
