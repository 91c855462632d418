"""A rehearsal that leaves no files: what it took, for `plan --rehearsals`."""

from __future__ import annotations

from dataclasses import dataclass, field

from controller.core.events import ElectrodeAdvanced, ElectrodeMeasured, Event, HoleFinished
from controller.record.journal import TrueHole, TrueTip
from controller.workshop import assignment, controller_for
from sim.rehearsal import Rehearsal
from sim.settings import load_plant

# Ticks between two looks at whether it is over; nothing else happens there, so it only has to be large. Chosen so.
STEP_TICKS = 100_000


@dataclass(slots=True, frozen=True)
class Trial:
    """What one rehearsal took; lengths in mm, times in s of machine time."""

    seed: int
    outcome: str
    machine_s: float
    erode_s: float
    electrode_mm: float
    measurements: int
    advances: int


@dataclass(slots=True)
class Notebook:
    """Keeps what a rehearsal tells in memory."""

    events: list[Event] = field(default_factory=list)
    tips: list[TrueTip] = field(default_factory=list)
    holes: dict[int, TrueHole] = field(default_factory=dict)

    def append(self, event: Event) -> None:
        """Take an event."""
        self.events.append(event)

    def append_true_tip(self, tip: TrueTip) -> None:
        """Take a true tip length."""
        self.tips.append(tip)

    def append_true_hole(self, truth: TrueHole) -> None:
        """Take what a hole really became; a hole drilled again counts as it was left last."""
        self.holes[truth.hole] = truth


def try_out(job_name: str, machine_name: str, seed: int) -> Trial:
    """Rehearse a job on the default plant. Top-level and with plain arguments, so that another process can be asked."""
    given = assignment(job_name, machine_name, rehearsed=None)
    notebook = Notebook()
    core = controller_for(given)
    rehearsal = Rehearsal(core, given.machine, given.job, given.plan, load_plant(), seed, notebook)
    while rehearsal.step(STEP_TICKS):
        pass
    finished = [event for event in notebook.events if isinstance(event, HoleFinished)]
    return Trial(
        seed,
        rehearsal.ended.outcome if rehearsal.ended else "",
        rehearsal.time_s,
        sum(hole.erode_s for hole in finished),
        sum(hole.wear_mm for hole in finished),
        sum(isinstance(event, ElectrodeMeasured) for event in notebook.events),
        sum(isinstance(event, ElectrodeAdvanced) for event in notebook.events),
    )
