"""The phase machine: one table of rows, and nothing else decides which phase comes next.

Phases say what is *allowed*; cycles say what to do next. Every phase × trigger pair is either a row of `ROWS` or listed
in `IGNORED`; a test holds that, and the diagram in DEVELOPERS.md is generated from the same two tables.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from transitions import Machine as Transitions


class Phase(StrEnum):
    """What the machine is about; each phase permits its own set of commands (`permissions.py`)."""

    IDLE = "idle"
    PROBE = "probe"
    APPROACH = "approach"
    ERODE = "erode"
    RETRACT = "retract"
    SHORT_RECOVER = "short-recover"
    HOLD = "hold"
    FAULT = "fault"
    REFERENCE = "reference"
    COMMISSION = "commission"


class Trigger(StrEnum):
    """What can move the machine from one phase to another."""

    TOUCH = "touch"
    TOUCHED = "touched"
    DESCEND = "descend"
    IGNITE = "ignite"
    SHORT = "short"
    FREED = "freed"
    WITHDRAW = "withdraw"
    CLEARED = "cleared"
    HOLD = "hold"
    GO_ON = "go-on"
    TRIP = "trip"
    ACKNOWLEDGE = "acknowledge"
    SEEK = "seek"
    REFERENCED = "referenced"
    INSPECT = "inspect"
    INSPECTED = "inspected"


class Row(NamedTuple):
    """In phase `before`, `trigger` leads to phase `after`."""

    before: Phase
    trigger: Trigger
    after: Phase


P, T = Phase, Trigger

ROWS: tuple[Row, ...] = (
    Row(P.IDLE, T.TOUCH, P.PROBE),
    Row(P.IDLE, T.DESCEND, P.APPROACH),
    Row(P.IDLE, T.WITHDRAW, P.RETRACT),
    Row(P.IDLE, T.HOLD, P.HOLD),
    Row(P.IDLE, T.TRIP, P.FAULT),
    Row(P.PROBE, T.TOUCHED, P.IDLE),
    Row(P.PROBE, T.WITHDRAW, P.RETRACT),
    Row(P.PROBE, T.TRIP, P.FAULT),
    Row(P.APPROACH, T.IGNITE, P.ERODE),
    Row(P.APPROACH, T.SHORT, P.SHORT_RECOVER),
    Row(P.APPROACH, T.WITHDRAW, P.RETRACT),
    Row(P.APPROACH, T.TRIP, P.FAULT),
    Row(P.ERODE, T.SHORT, P.SHORT_RECOVER),
    Row(P.ERODE, T.WITHDRAW, P.RETRACT),
    Row(P.ERODE, T.TRIP, P.FAULT),
    Row(P.RETRACT, T.CLEARED, P.IDLE),
    Row(P.RETRACT, T.SHORT, P.SHORT_RECOVER),
    Row(P.RETRACT, T.TRIP, P.FAULT),
    Row(P.SHORT_RECOVER, T.FREED, P.APPROACH),
    Row(P.SHORT_RECOVER, T.WITHDRAW, P.RETRACT),
    Row(P.SHORT_RECOVER, T.HOLD, P.HOLD),
    Row(P.SHORT_RECOVER, T.TRIP, P.FAULT),
    Row(P.HOLD, T.GO_ON, P.IDLE),
    Row(P.HOLD, T.WITHDRAW, P.RETRACT),
    Row(P.HOLD, T.TRIP, P.FAULT),
    Row(P.FAULT, T.ACKNOWLEDGE, P.HOLD),
    Row(P.IDLE, T.SEEK, P.REFERENCE),
    Row(P.REFERENCE, T.REFERENCED, P.IDLE),
    Row(P.REFERENCE, T.WITHDRAW, P.RETRACT),
    Row(P.REFERENCE, T.TRIP, P.FAULT),
    Row(P.IDLE, T.INSPECT, P.COMMISSION),
    Row(P.COMMISSION, T.INSPECTED, P.IDLE),
    Row(P.COMMISSION, T.TRIP, P.FAULT),
)

# Phases of setting a machine up: no job enters them.
SETTING_UP = (P.REFERENCE, P.COMMISSION)

# Each ignored pair is a decision: the trigger says nothing that changes what is allowed in that phase.
IGNORED: dict[Trigger, tuple[Phase, ...]] = {
    # A touch starts from standstill at clear height only, so that isolation can be proven first.
    T.TOUCH: (P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, P.FAULT, *SETTING_UP),
    T.TOUCHED: (P.IDLE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, P.FAULT, *SETTING_UP),
    # Closing the source on work starts from idle only, after a proof.
    T.DESCEND: (P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, P.FAULT, *SETTING_UP),
    # Sparks outside the approach are not news.
    T.IGNITE: (P.IDLE, P.PROBE, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, P.FAULT, *SETTING_UP),
    # Contact with the source off is a touch, not a short.
    T.SHORT: (P.IDLE, P.PROBE, P.SHORT_RECOVER, P.HOLD, P.FAULT, *SETTING_UP),
    T.FREED: (P.IDLE, P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.HOLD, P.FAULT, *SETTING_UP),
    # In commission nothing moves, so there is nothing to withdraw from.
    T.WITHDRAW: (P.RETRACT, P.FAULT, P.COMMISSION),
    T.CLEARED: (P.IDLE, P.PROBE, P.APPROACH, P.ERODE, P.SHORT_RECOVER, P.HOLD, P.FAULT, *SETTING_UP),
    # Holding out of a live phase goes through retract first: the gap must open before the source does.
    T.HOLD: (P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.HOLD, P.FAULT, *SETTING_UP),
    T.GO_ON: (P.IDLE, P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.FAULT, *SETTING_UP),
    # The first fault is the true one; those that follow from it are told, not acted on.
    T.TRIP: (P.FAULT,),
    T.ACKNOWLEDGE: (P.IDLE, P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, *SETTING_UP),
    # Both phases of setting a machine up are entered from standstill with everything off, and left the same way.
    T.SEEK: (P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, P.FAULT, *SETTING_UP),
    T.REFERENCED: (P.IDLE, P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, P.FAULT, P.COMMISSION),
    T.INSPECT: (P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, P.FAULT, *SETTING_UP),
    T.INSPECTED: (P.IDLE, P.PROBE, P.APPROACH, P.ERODE, P.RETRACT, P.SHORT_RECOVER, P.HOLD, P.FAULT, P.REFERENCE),
}


class PhaseMachine:
    """Holds the present phase; `fire` moves it by the table."""

    __slots__ = ("_machine", "phase")

    def __init__(self) -> None:
        self.phase = Phase.IDLE
        self._machine = Transitions(
            model=None,
            states=[phase.value for phase in Phase],
            initial=Phase.IDLE.value,
            auto_transitions=False,
            transitions=[
                *({"trigger": r.trigger.value, "source": r.before.value, "dest": r.after.value} for r in ROWS),
                *(
                    {"trigger": trigger.value, "source": phase.value, "dest": None}
                    for trigger, phases in IGNORED.items()
                    for phase in phases
                ),
            ],
        )
        self._machine.add_model(_Holder(), initial=Phase.IDLE.value)

    def fire(self, trigger: Trigger) -> bool:
        """Apply a trigger; True when the phase changed, False when the table ignores the pair."""
        holder = self._machine.models[0]
        holder.trigger(trigger.value)
        before, self.phase = self.phase, Phase(holder.state)
        return self.phase is not before


class _Holder:
    """The object whose `state` the transitions library writes."""

    state: str


def diagram() -> str:
    """The table as a Mermaid state diagram, for DEVELOPERS.md (a test compares the two)."""
    lines = ["stateDiagram-v2", "    [*] --> idle"]
    lines += [
        f"    {row.before.value.replace('-', '_')} --> {row.after.value.replace('-', '_')}: {row.trigger.value}"
        for row in ROWS
    ]
    return "\n".join(lines) + "\n"
