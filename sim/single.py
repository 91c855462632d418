"""One procedure on the virtual machine, in virtual time: what `locate --rehearse` and its benchmark run."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Protocol

from controller.core.events import Event, RunEnded
from controller.core.observation import Observation
from controller.core.requests import Request
from sim.machine import VirtualMachine
from sim.rehearsal import Ticked

# Longest procedure: a bore with eight contacts takes some minutes. Chosen: far longer.
LONGEST_S: Final = 7200.0


class OneThing(Protocol):
    """A core that does one thing and then is over."""

    ended: RunEnded | None

    def tick(self, seen: Observation, requests: Sequence[Request] = ()) -> Ticked:
        """Take one observation."""


def do_virtually(core: OneThing, virtual: VirtualMachine, tick_s: float) -> list[Event]:
    """Let a core work on a virtual machine until it is over; every event in order."""
    events: list[Event] = []
    for _ in range(round(LONGEST_S / tick_s)):
        out = core.tick(virtual.advance(tick_s))
        virtual.carry_out(out.commands)
        events += out.events
        if core.ended is not None:
            break
    return events
