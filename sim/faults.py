"""What can go wrong on purpose: named faults at the plant or at its wires, never inside the controller.

A fault is asked for as `NAME@t:1200s` (so long after the machine was switched on) or `NAME@hole:12+3s` (so long after
the electrode first stood over hole 12).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from math import inf
from typing import TYPE_CHECKING

from sim.boards.ack import AckBoard
from sim.boards.status import StatusBoard

if TYPE_CHECKING:
    from sim.wired import WiredMachine

SPEC = re.compile(
    r"(?P<name>[a-z0-9-]+)@(?:t:(?P<at_s>\d+(?:\.\d+)?)s|hole:(?P<hole>\d+)(?:\+(?P<after_s>\d+(?:\.\d+)?)s)?)"
)
X, Y, Z = 0, 1, 2
# Setting 1 of a `status` board as it leaves the factory (ms): common practice, no source. wires.md asks for 255.
FACTORY_IDLE_LOCK_MS = 25.0
# An `ack` board that lets go soon (s). Chosen: shorter than any pause in a job.
SOON_S = 1.0
# A front end without its shield: standard deviation in counts of 4.9 mV. Chosen: far beyond the 8 mV of a good one, and
# enough to cross from low to high now and then.
NOISE_COUNTS = 60.0
# Lines in a row that reach the board garbled. Chosen: more than its command queue and its planner hold together.
STORM_LINES = 40


class BadFaultError(ValueError):
    """A fault that can't be injected; the message says why and what could be."""


@dataclass(slots=True, frozen=True)
class Planned:
    """A fault and when it happens: at `at_s`, or `after_s` after the electrode first stood over `hole`."""

    name: str
    at_s: float = inf
    hole: int | None = None
    after_s: float = 0.0


def planned(spec: str, convention: str) -> Planned:
    """A fault as it is written on the command line; raises BadFaultError."""
    form = SPEC.fullmatch(spec)
    if form is None:
        raise BadFaultError(f"--fault {spec}: not of the form NAME@t:1200s or NAME@hole:12+3s")
    name = form["name"]
    if name not in FAULTS:
        close = get_close_matches(name, FAULTS, n=1)
        hint = f"did you mean {close[0]}? " if close else ""
        raise BadFaultError(f"--fault {spec}: no fault is named {name}; {hint}there are {', '.join(sorted(FAULTS))}")
    if name in ACK_ONLY and convention != "ack":
        raise BadFaultError(f"--fault {spec}: only `ack` boards ask for lines again; this one is `{convention}`")
    if form["hole"] is None:
        return Planned(name, at_s=float(form["at_s"]))
    return Planned(name, hole=int(form["hole"]), after_s=float(form["after_s"] or 0.0))


class Injector:
    """Lets planned faults happen, each once."""

    __slots__ = ("_machine", "_waiting")

    def __init__(self, faults: Iterable[Planned], machine: WiredMachine) -> None:
        self._waiting = list(faults)
        self._machine = machine

    def act(self, now_s: float) -> None:
        """Inject what is due at a machine time."""
        if not self._waiting:
            return
        holes = self._machine.plant.truth.holes
        for number, fault in enumerate(self._waiting):
            if fault.hole is not None and fault.at_s == inf and fault.hole in holes:
                self._waiting[number] = Planned(fault.name, now_s + fault.after_s, fault.hole, fault.after_s)
        due = [fault for fault in self._waiting if fault.at_s <= now_s]
        self._waiting = [fault for fault in self._waiting if fault.at_s > now_s]
        for fault in due:
            FAULTS[fault.name](self._machine)


def _contact_stuck(machine: WiredMachine) -> None:
    """The source contact welds: it is shut from now on."""
    machine.plant.contacts.weld_source(machine.now_s)


def _reversed(axis: int) -> Callable[[WiredMachine], None]:
    """A motor is plugged in the wrong way round."""

    def fault(machine: WiredMachine) -> None:
        machine.motors.signs[axis] = -1

    return fault


def _idle_lock(machine: WiredMachine) -> None:
    """The board lets its motors go when it has nothing to do; an `ack` board of this kind can't be told otherwise."""
    board = machine.motion
    if isinstance(board, StatusBoard):
        board.settings.by_number[1] = FACTORY_IDLE_LOCK_MS
    else:
        board.build_without_idle_lock(SOON_S)


def _noisy_front_end(machine: WiredMachine) -> None:
    machine.pins.noise_counts = NOISE_COUNTS


def _no_heartbeat_supply(machine: WiredMachine) -> None:
    """The charge pump has no supply: its edges lead nowhere and the source contact never closes."""
    machine.pins.heartbeat_supplied = False


def _source_reversed(machine: WiredMachine) -> None:
    """The source is wired the wrong way round: the tool is positive."""
    machine.plant.tool_positive = True


def _board_reset(machine: WiredMachine) -> None:
    machine.motion.boot()


def _stream_stops(machine: WiredMachine) -> None:
    """The sampler hangs; its pins stay as they are."""
    machine.sampler.silenced = True


def _resend_storm(machine: WiredMachine) -> None:
    if isinstance(machine.motion, AckBoard):
        machine.motion.intake.garble(STORM_LINES)


FAULTS: dict[str, Callable[[WiredMachine], None]] = {
    "contact-stuck": _contact_stuck,
    "x-reversed": _reversed(X),
    "y-reversed": _reversed(Y),
    "z-reversed": _reversed(Z),
    "idle-lock": _idle_lock,
    "noisy-front-end": _noisy_front_end,
    "no-heartbeat-supply": _no_heartbeat_supply,
    "source-reversed": _source_reversed,
    "board-reset": _board_reset,
    "stream-stops": _stream_stops,
    "resend-storm": _resend_storm,
}
ACK_ONLY = frozenset({"resend-storm"})
