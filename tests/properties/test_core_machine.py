"""The whole core as a state machine: whoever is at the machine and whatever breaks there come in any order.

Hypothesis draws what happens: time passes, a reading sticks, a switch opens, the host stumbles, somebody asks, answers
(rightly, wrongly, to the wrong question) or frees the rod; after a fault or a hold the run is taken up again. After
every step the independent monitor must have found nothing, and the phase must be the one its events tell.
"""

from __future__ import annotations

from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from controller.core.commands import Output
from controller.core.controller import Controller
from controller.core.events import Event
from controller.core.requests import Answer, HoldRequest, MeasureRequest, PauseRequest, Request, SkipRequest
from controller.core.standing import standing
from tests.core import given as bench
from tests.core.crude import CrudeMachine
from tests.properties.monitor import Monitor
from tests.properties.observations import SPOILABLE, Upset, spoil, spoilt

SWITCHES = {"stop_pressed": True, "guard_closed": False, "level_ok": False, "flow": False}
# After the end of a run the water has so long to stop: it waits for the contact to be proven open.
SETTLES_TICKS = 100


class CoreMachine(RuleBasedStateMachine):
    """The core and the crude machine, and everything that may happen to them."""

    def __init__(self) -> None:
        super().__init__()
        self.machine = CrudeMachine()
        self.core: Controller = bench.controller()
        self.monitor = Monitor(bench.MACHINE)
        self.held: dict[str, Any] = {}
        self.events: list[Event] = []
        self.breaches: list[str] = []
        self.over_ticks = 0

    @initialize(
        tip_mm=st.floats(43.5, 46.5),
        thickness_mm=st.sampled_from([1.0, 0.9, 1.1, None]),
        stuck_at=st.none() | st.floats(0.0, 1000.0),
    )
    def stands(self, tip_mm: float, thickness_mm: float | None, stuck_at: float | None) -> None:
        """A machine that differs in what the core has to find out."""
        self.machine = CrudeMachine(tip_mm=tip_mm, thickness_mm=thickness_mm, stuck_at=stuck_at)

    def _pass(self, ticks: int, asked: tuple[Request, ...] = (), upset: tuple[Upset, ...] = ()) -> None:
        for tick in range(ticks):
            seen = spoil(self.machine.observe(), tick, upset)
            for name, reading in self.held.items():
                setattr(seen, name, reading)
            out = self.core.tick(seen, asked)
            asked = ()
            self.monitor.watch(seen, out)
            self.machine.carry_out(out.commands)
            self.events += out.events
            self.over_ticks += self.core.ended is not None

    @rule(ticks=st.sampled_from([1, 10, 300, 3000, 3000]))
    def goes_on(self, ticks: int) -> None:
        """Time passes."""
        self._pass(ticks)

    @rule(name=st.sampled_from(SPOILABLE), ticks=st.integers(1, 300), data=st.data())
    def reads_wrongly(self, name: str, ticks: int, data: st.DataObject) -> None:
        """A reading sticks for a while."""
        self._pass(ticks, upset=(Upset(0, ticks, name, data.draw(spoilt(name))),))

    @rule(name=st.sampled_from(sorted(SWITCHES)))
    def opens(self, name: str) -> None:
        """Stop pressed, guard open, tank low, no flow: until it is put right."""
        self.held[name] = SWITCHES[name]
        self._pass(5)

    @precondition(lambda self: self.held)
    @rule()
    def is_put_right(self) -> None:
        """Whatever was open is shut again."""
        self.held.clear()
        self._pass(5)

    @rule(ticks=st.integers(2, 80))
    def stumbles(self, ticks: int) -> None:
        """The host gets no look at the machine for some ticks."""
        for _ in range(ticks):
            self.machine.observe()
        self._pass(1)

    @rule(asked=st.sampled_from([HoldRequest("asked"), PauseRequest("a look"), MeasureRequest(), SkipRequest(1)]))
    def is_asked(self, asked: Request) -> None:
        """Somebody wishes for something."""
        self._pass(20, (asked,))

    @precondition(lambda self: self.core.waiting is not None)
    @rule(freed=st.booleans(), off=st.integers(-1, 1), which=st.integers(0, 3), reading=st.sampled_from(["", "1.0"]))
    def is_answered(self, *, freed: bool, off: int, which: int, reading: str) -> None:
        """Somebody answers, having done it or not, perhaps to a question that was never asked."""
        prompt = self.core.waiting
        assert prompt is not None
        if freed:
            self.machine.free()
        choice = prompt.choices[which % len(prompt.choices)]
        self._pass(20, (Answer(prompt.prompt + off, choice, reading),))

    @precondition(lambda self: self.core.ended is not None and self.core.ended.outcome in ("fault", "held"))
    @rule()
    def is_taken_up(self) -> None:
        """The run ended early and goes on: another host, the same machine, all outputs low, positions unknown."""
        self._pass(SETTLES_TICKS)
        self.breaches += self.monitor.breaches
        given = bench.setting()
        self.core = Controller(
            given.machine, given.job, given.technology, given.plan, given.overcut, standing(self.events)
        )
        self.monitor, self.over_ticks = Monitor(bench.MACHINE), 0
        self.machine.on = dict.fromkeys(Output, False)
        self.machine.homed = False
        self._pass(1)

    @invariant()
    def nothing_outside_the_tables(self) -> None:
        """The monitor knows of nothing that should not have been."""
        assert self.breaches + self.monitor.breaches == []

    @invariant()
    def the_phase_is_the_one_that_was_told(self) -> None:
        """Whoever reads the events knows the phase."""
        assert self.monitor.phase == self.core.phase.value

    @invariant()
    def whatever_is_over_is_off(self) -> None:
        """After the end nothing stays on."""
        if self.over_ticks > SETTLES_TICKS:
            assert self.machine.on == dict.fromkeys(Output, False)

    @invariant()
    def no_hole_is_told_twice(self) -> None:
        """A hole that is finished is not made again, however often the run is taken up."""
        made = standing(self.events).finished
        told = [event.row()["hole"] for event in self.events if event.row()["kind"] == "HoleFinished"]
        doubted = any(event.row()["kind"] == "HoleDoubted" for event in self.events)
        assert doubted or len(told) == len(set(told))
        assert set(made) <= set(told)


CoreMachine.TestCase.settings = settings(max_examples=25, stateful_step_count=40)
TestCoreMachine = CoreMachine.TestCase
