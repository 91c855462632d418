"""The phase machine: one table, complete, and nothing beside it."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from controller.core.phases import IGNORED, ROWS, Phase, PhaseMachine, Trigger, diagram

DEVELOPERS = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
PAIRS = list(product(Phase, Trigger))


def led_to(phase: Phase) -> PhaseMachine:
    """A machine brought into a phase by the shortest way through the rows."""
    ways: dict[Phase, tuple[Trigger, ...]] = {Phase.IDLE: ()}
    while phase not in ways:
        ways |= {
            row.after: (*ways[row.before], row.trigger) for row in ROWS if row.before in ways and row.after not in ways
        }
    machine = PhaseMachine()
    for trigger in ways[phase]:
        machine.fire(trigger)
    return machine


@pytest.mark.parametrize(("phase", "trigger"), PAIRS)
def test_every_pair_is_decided_exactly_once(phase: Phase, trigger: Trigger) -> None:
    """A phase × trigger pair is one row, or is ignored on purpose, never both and never neither."""
    rows = sum(1 for row in ROWS if (row.before, row.trigger) == (phase, trigger))
    ignored = IGNORED.get(trigger, ()).count(phase)
    assert rows + ignored == 1


@pytest.mark.parametrize(("phase", "trigger"), PAIRS)
def test_the_machine_does_what_the_table_says(phase: Phase, trigger: Trigger) -> None:
    """Fired, a row leads to its phase and says so; an ignored pair leaves the phase and says that too."""
    machine = led_to(phase)
    assert machine.phase == phase
    expected = next((row.after for row in ROWS if (row.before, row.trigger) == (phase, trigger)), phase)
    assert machine.fire(trigger) == (expected is not phase)
    assert machine.phase == expected


def test_no_row_leads_where_it_began() -> None:
    """A trigger that changes nothing is ignored, not a row: `fire` would else deny a change that the table names."""
    assert [row for row in ROWS if row.before is row.after] == []


def test_a_trip_leads_to_fault_from_everywhere() -> None:
    """Whatever is being done, a tripped guard ends in fault."""
    assert {row.before for row in ROWS if row.trigger is Trigger.TRIP and row.after is Phase.FAULT} == set(Phase) - {
        Phase.FAULT
    }


def test_the_source_can_be_reached_through_idle_only() -> None:
    """Into a live phase leads no way but through approach, and into approach none but from idle or the ladder."""
    live = {Phase.APPROACH, Phase.ERODE, Phase.SHORT_RECOVER}
    into = {(row.before, row.after) for row in ROWS if row.after in live and row.before not in live}
    assert into == {(Phase.IDLE, Phase.APPROACH), (Phase.RETRACT, Phase.SHORT_RECOVER)}


def test_there_is_no_way_out_of_fault_but_to_hold() -> None:
    """A fault is acknowledged into hold, where nothing moves down and nothing is live."""
    assert [(row.trigger, row.after) for row in ROWS if row.before is Phase.FAULT] == [
        (Trigger.ACKNOWLEDGE, Phase.HOLD)
    ]


def test_two_machines_are_two() -> None:
    """One machine's phase is not another's."""
    first, second = PhaseMachine(), PhaseMachine()
    first.fire(Trigger.TOUCH)
    assert (first.phase, second.phase) == (Phase.PROBE, Phase.IDLE)


def test_the_diagram_holds_every_row_once() -> None:
    """The Mermaid diagram names each row as `before --> after: trigger`, and nothing else but its head."""
    lines = [line.strip() for line in diagram().splitlines()]
    assert lines[:2] == ["stateDiagram-v2", "[*] --> idle"]
    assert lines[2:] == [
        f"{row.before.value} --> {row.after.value}: {row.trigger.value}".replace("short-recover", "short_recover")
        for row in ROWS
    ]


def test_the_diagram_for_contributors_is_the_generated_one() -> None:
    """DEVELOPERS.md shows one Mermaid diagram, and it is the table's, letter by letter."""
    _, *drawn = DEVELOPERS.read_text(encoding="utf-8").split("```mermaid\n")
    assert [text.split("```")[0] for text in drawn] == [diagram()]
