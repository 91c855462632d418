"""Properties of the whole core: whatever the machine shows, what is asked of it stays within what each phase permits.

Three ways to look: sequences that no command influences (`any_sequence`), a closed loop on a crude machine whose
reports are spoiled (`upsets`), and the same loop with stop pressed or hold asked for at any moment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import inf

import pytest
from hypothesis import Phase as Phases
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.commands import Command, Move, Output
from controller.core.controller import Controller
from controller.core.events import Event, PhaseChanged, PromptRaised, SourceOpenedHot
from controller.core.observation import Observation
from controller.core.phases import ROWS, SETTING_UP, Phase
from controller.core.requests import Answer, HoldRequest, MeasureRequest, PauseRequest, Request, SkipRequest
from tests.core import given as bench
from tests.core.crude import CrudeMachine
from tests.properties.monitor import Monitor, rebuilt
from tests.properties.observations import Upset, any_sequence, spoil, upsets

# A run of the closed loop takes a quarter of a second: shrinking a failure would take minutes, so it is shown as found.
AS_FOUND = (Phases.explicit, Phases.reuse, Phases.generate)
JOB_TICKS = 9_000  # the crude machine makes both holes in about ten thousand ticks


@dataclass
class Run:
    """A run on record: what was seen and asked, and what came of it."""

    seen: list[Observation] = field(default_factory=list)
    asked: list[Sequence[Request]] = field(default_factory=list)
    commands: list[list[Command]] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    breaches: list[str] = field(default_factory=list)
    controller: Controller = field(default_factory=bench.controller)


def fed(observations: Sequence[Observation], asked: Sequence[Sequence[Request]] | None = None) -> Run:
    """The core on given observations."""
    run, monitor = Run(), Monitor(bench.MACHINE)
    for tick, seen in enumerate(observations):
        take(run, monitor, seen, asked[tick] if asked is not None else ())
    run.breaches = monitor.breaches
    return run


def take(run: Run, monitor: Monitor, seen: Observation, asked: Sequence[Request]) -> list[Command]:
    out = run.controller.tick(seen, asked)
    monitor.watch(seen, out)
    run.seen.append(seen)
    run.asked.append(asked)
    run.commands.append(out.commands)
    run.events += out.events
    return out.commands


def looped(
    machine: CrudeMachine,
    drawn: Sequence[Upset] = (),
    ticks: int = 16_000,
    hold_at: int | None = None,
    wishes: Sequence[tuple[int, Request]] = (),
) -> Run:
    """The core in a closed loop with the crude machine, its reports spoiled; an operator frees and answers at once."""
    run, monitor = Run(), Monitor(bench.MACHINE)
    asked: tuple[Request, ...] = ()
    after_end = 0
    for tick in range(ticks):
        if tick == hold_at:
            asked = (HoldRequest("asked for"),)
        asked += tuple(wish for at, wish in wishes if at == tick)
        told = len(run.events)
        machine.carry_out(take(run, monitor, spoil(machine.observe(), tick, drawn), asked))
        asked = ()
        for event in run.events[told:]:
            if isinstance(event, PromptRaised):
                machine.free()
                asked = (Answer(event.prompt, event.choices[0]),)
        after_end += run.controller.ended is not None
        if after_end > 20:
            break
    run.breaches = monitor.breaches
    return run


def machines() -> st.SearchStrategy[CrudeMachine]:
    """Machines that differ in what the core has to find out."""
    return st.builds(
        CrudeMachine,
        tip_mm=st.floats(43.5, 46.5),
        face_mm=st.floats(-62.0, -58.5),
        thickness_mm=st.sampled_from([1.0, 0.9, 1.1, None]),
        stuck_at=st.none() | st.floats(0.0, 1000.0),
        play_um=st.floats(20.0, 50.0),
    )


def test_an_undisturbed_job_is_made_whole_and_breaks_no_rule() -> None:
    """Both holes come out through, the tip never travels low, and nothing outside the phase table is asked."""
    machine = CrudeMachine()
    run = looped(machine)
    assert run.breaches == []
    assert run.controller.ended is not None
    assert run.controller.ended.outcome == "complete"


@given(machine=machines())
@settings(max_examples=8, phases=AS_FOUND)
def test_on_any_machine_nothing_outside_the_phase_table_is_asked(machine: CrudeMachine) -> None:
    """Whatever the electrode, the face, the play and the welds are like, every command is permitted by its phase."""
    assert looped(machine).breaches == []


@given(machine=machines(), drawn=upsets(JOB_TICKS))
@settings(max_examples=20, phases=AS_FOUND)
def test_whatever_is_reported_wrongly_the_phase_table_holds(machine: CrudeMachine, drawn: list[Upset]) -> None:
    """With contacts, positions, readings and boards spoiled in a running job, every command stays permitted."""
    assert looped(machine, drawn).breaches == []


WISHES = st.sampled_from([PauseRequest("a look"), MeasureRequest(), SkipRequest(1), SkipRequest(2)])


@given(
    machine=machines(),
    drawn=upsets(JOB_TICKS),
    wishes=st.lists(st.tuples(st.integers(0, JOB_TICKS), WISHES), max_size=4),
)
@settings(max_examples=12, phases=AS_FOUND)
def test_whatever_is_wished_for_the_phase_table_holds(
    machine: CrudeMachine, drawn: list[Upset], wishes: list[tuple[int, Request]]
) -> None:
    """Holds, measurements and skipped holes at any moment of a spoiled job: every command stays permitted."""
    assert looped(machine, drawn, wishes=wishes).breaches == []


@given(any_sequence())
@settings(max_examples=60)
def test_no_sequence_of_observations_raises_or_breaks_a_rule(observations: list[Observation]) -> None:
    """Plausible or hostile, no observation makes the core raise, and none makes it leave the phase table."""
    assert fed(observations).breaches == []


@given(machine=machines(), at=st.integers(0, JOB_TICKS))
@settings(max_examples=12, phases=AS_FOUND)
def test_stop_ends_all_motion_and_the_source_within_the_tick(machine: CrudeMachine, at: int) -> None:
    """Stop pressed at any moment: that very tick switches all off and halts; no move is asked then or later."""
    run = looped(machine, [Upset(at, 10**6, "stop_pressed", True)])
    pressed = [n for n, seen in enumerate(run.seen) if seen.stop_pressed]
    assert run.breaches == []
    if pressed:
        assert run.controller.ended is not None
        assert run.controller.ended.outcome == "fault"
        after = [command for commands in run.commands[pressed[0] :] for command in commands]
        assert not any(isinstance(command, Move) for command in after)
        assert machine.on == dict.fromkeys(Output, False)


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase not in (Phase.FAULT, *SETTING_UP)])
def test_stop_is_heeded_in_every_phase(phase: Phase) -> None:
    """Pressed in each phase in turn: no move is asked any more, all is off, and the axes stand within two ticks."""
    machine, core, stopped_at = CrudeMachine(stuck_at=400.0), bench.controller(), None
    machine.tears_z_um = inf  # a weld that holds leads through the whole ladder, into hold
    for tick in range(16_000):
        seen = machine.observe()
        if core.phase is phase and stopped_at is None:
            stopped_at = tick
        out = core.tick(replace(seen, stop_pressed=True) if stopped_at is not None else seen)
        machine.carry_out(out.commands)
        if stopped_at is not None:
            assert not any(isinstance(command, Move) for command in out.commands)
            assert tick < stopped_at + 2 or not seen.queued
            if tick > stopped_at + 20:
                break
    assert stopped_at is not None
    assert core.ended is not None
    assert core.ended.outcome == "fault"
    assert machine.on == dict.fromkeys(Output, False)


@given(machine=machines(), at=st.integers(0, JOB_TICKS))
@settings(max_examples=12, phases=AS_FOUND)
def test_a_hold_asked_for_ends_safe_and_cold(machine: CrudeMachine, at: int) -> None:
    """Hold asked for at any moment: the tip leaves the hole, the source opens cold, all is off, the run ends held."""
    run = looped(machine, hold_at=at)
    assert run.breaches == []
    # A welded electrode can't be left cold: that one ends in fault, the cause named.
    if run.controller.ended is not None and run.controller.ended.reason == "asked for":
        assert run.controller.ended.outcome == "held"
        assert run.controller.phase is Phase.HOLD
        hot_s = [event.time_s for event in run.events if isinstance(event, SourceOpenedHot)]
        assert [time_s for time_s in hot_s if time_s > run.seen[at].time_s] == []
        assert machine.on == dict.fromkeys(Output, False)


@given(machine=machines(), drawn=upsets(JOB_TICKS))
@settings(max_examples=4, phases=AS_FOUND)
def test_the_same_observations_give_the_same_commands_and_events(machine: CrudeMachine, drawn: list[Upset]) -> None:
    """A second core fed the first one's observations and answers does and tells exactly the same."""
    first = looped(machine, drawn)
    second = fed(first.seen, first.asked)
    assert second.commands == first.commands
    assert second.events == first.events


@given(machine=machines(), drawn=upsets(JOB_TICKS))
@settings(max_examples=8, phases=AS_FOUND)
def test_the_phase_history_can_be_rebuilt_from_the_journal_rows(machine: CrudeMachine, drawn: list[Upset]) -> None:
    """The PhaseChanged rows chain from idle to the present phase, each step a row of the table."""
    run = looped(machine, drawn)
    rows = [event.row() for event in run.events if isinstance(event, PhaseChanged)]
    history = rebuilt(rows)
    assert [row["before"] for row in rows] == history[:-1]
    assert history[-1] == run.controller.phase.value
    table = {(row.before.value, row.trigger.value, row.after.value) for row in ROWS}
    assert {(row["before"], row["trigger"], row["after"]) for row in rows} <= table


@given(observations=any_sequence(episodes=4))
@settings(max_examples=20)
def test_no_observation_is_changed_by_looking_at_it(observations: list[Observation]) -> None:
    """The core leaves what it is given as it is: a recording of it is what it saw."""
    copies = [replace(seen, samples=list(seen.samples)) for seen in observations]
    fed(observations)
    assert observations == copies
