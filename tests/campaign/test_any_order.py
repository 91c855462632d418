"""Faults in any order on the virtual machine, under the plant's own monitor: hypothesis draws what breaks and when.

Where the campaign breaks one thing in a run, here things break upon each other, are mended or not, the host dies, the
run is taken up and broken again. Whatever comes: no exception, nothing that the plant's monitor forbids, no hole twice,
and in the end everything off.
"""

from __future__ import annotations

from collections import Counter

from hypothesis import HealthCheck, settings
from hypothesis import Phase as Phases
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from controller.core.events import HoleDoubted, HoleFinished
from controller.core.requests import HoldRequest, MeasureRequest, PauseRequest, Request
from controller.core.standing import standing
from controller.workshop import controller_for
from sim.aside import PutAside
from sim.injector import Planned, names
from sim.machine import VirtualMachine
from sim.monitor import PlantMonitor
from sim.notebook import Notebook
from sim.rehearsal import Core, Rehearsal
from sim.settings import load_plant
from tests.campaign.campaign import ELSEWHERE
from tests.campaign.drill import AFTER_S, BEYOND_THE_HOST, small_job

BREAKABLE = [name for name in names(rehearsed=True) if name not in ELSEWHERE]


class BrokenMachine(RuleBasedStateMachine):
    """One small job on one machine that breaks in every way there is."""

    def __init__(self) -> None:
        super().__init__()
        self.given = small_job()
        self.book = Notebook()
        self.rehearsal: Rehearsal
        self.monitor: PlantMonitor

    @initialize(seed=st.integers(0, 2**31 - 1), head_ticks=st.sampled_from([0, 6000, 9000, 12_000]))
    def stands(self, seed: int, head_ticks: int) -> None:
        """A new machine, or one that has been at work for a while."""
        given, self.seed = self.given, seed
        core = controller_for(given, None)
        plant = load_plant(None)
        self.rehearsal = Rehearsal(core, given.machine, given.job, given.plan, plant, seed, self.book)
        self.monitor = PlantMonitor(given.machine, self.rehearsal.injector)
        self.rehearsal.watch = self._watch
        self.rehearsal.step(head_ticks)

    def _watch(self, _core: Core, plant: VirtualMachine) -> None:
        self.monitor.watch(plant)

    @rule(ticks=st.sampled_from([300, 3000, 6000, 6000]))
    def goes_on(self, ticks: int) -> None:
        """Time passes; the virtual operator answers what is asked."""
        if self.rehearsal.ended is None:
            self.rehearsal.step(ticks)

    @rule(name=st.sampled_from(BREAKABLE), ticks=st.sampled_from([1, 20, 300]))
    def breaks(self, name: str, ticks: int) -> None:
        """Something breaks, and perhaps something else before long."""
        if self.rehearsal.ended is None:
            self.rehearsal.injector.add(Planned(name, self.rehearsal.time_s))
            self.rehearsal.step(ticks)

    @precondition(lambda self: self.rehearsal.injector.done)
    @rule()
    def is_mended(self) -> None:
        """A person puts right what has broken so far."""
        self.rehearsal.injector.mend()

    @rule(asked=st.sampled_from([HoldRequest("asked"), PauseRequest("a look"), MeasureRequest()]))
    def is_asked(self, asked: Request) -> None:
        """Somebody wishes for something."""
        if self.rehearsal.ended is None:
            self.rehearsal.ask([asked])
            self.rehearsal.step(50)

    @rule(away_s=st.floats(0.2, 20.0), mended=st.booleans())
    def another_host(self, away_s: float, *, mended: bool) -> None:
        """The host dies, or has ended; after a while another takes the run up, whatever is still broken."""
        before = self.rehearsal
        if before.ended is not None and before.ended.outcome == "complete":
            return
        if mended:
            before.injector.mend()
        given = self.given
        aside = PutAside(before.virtual, before.operator, before.injector)
        core, plant = controller_for(given, standing(self.book.events)), load_plant(None)
        self.rehearsal = Rehearsal(
            core, given.machine, given.job, given.plan, plant, self.seed, self.book, aside=aside, watch=self._watch
        )
        self.rehearsal.virtual.left_alone(away_s)
        self.monitor.watch(self.rehearsal.virtual)

    @invariant()
    def nothing_that_must_not_be(self) -> None:
        """The plant's monitor has seen nothing."""
        if hasattr(self, "monitor"):
            assert self.monitor.breaches == []

    @invariant()
    def every_hole_at_most_once(self) -> None:
        """Told once, unless it was doubted in between."""
        told = Counter(event.hole for event in self.book.events if isinstance(event, HoleFinished))
        doubted = Counter(event.hole for event in self.book.events if isinstance(event, HoleDoubted))
        assert all(count <= 1 + doubted[hole] for hole, count in told.items())

    def teardown(self) -> None:
        """The run is asked to hold; a while later nothing may be on but what is beyond the host."""
        if not hasattr(self, "rehearsal"):
            return
        rehearsal = self.rehearsal
        if rehearsal.ended is None:
            rehearsal.ask([HoldRequest("that is all")])
            rehearsal.step(60_000)
            assert rehearsal.ended is not None, "no end ten minutes after a hold was asked for"
        plant, core = rehearsal.virtual, rehearsal.core
        for _ in range(round(AFTER_S / 0.01)):
            plant.carry_out(core.tick(plant.advance(0.01)).commands)
        broken = {name for name, _ in rehearsal.injector.done}
        truth = plant.truth
        if not broken & BEYOND_THE_HOST:
            assert (truth.live, truth.sensing_on, truth.flow) == (False, False, False)


# A failure is shown as found: shrinking it would take minutes.
BrokenMachine.TestCase.settings = settings(
    max_examples=10,
    stateful_step_count=15,
    suppress_health_check=list(HealthCheck),
    phases=(Phases.explicit, Phases.reuse, Phases.generate),
)
TestBrokenMachine = BrokenMachine.TestCase
