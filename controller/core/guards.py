"""Guards: what is watched in every tick whatever the cycle does, as one table of rows.

Each row says when it trips, how long that must last, what it means and what clears it. A tripped guard isolates the
source at once, under current if need be, and ends in `fault`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Final

from controller.core.commands import Output
from controller.core.interlocks import Interlocks
from controller.core.observation import BoardState
from controller.core.permissions import PERMISSIONS
from controller.core.phases import Phase
from controller.core.rig import Trip
from controller.core.sense import Sense
from controller.core.window import ABSENT_V


def dry_s(locks: Interlocks) -> float:
    """For how long the source may be on without water and removal in the phase of the tick (s)."""
    return PERMISSIONS[locks.phase].dry_s


def _harmless(sense: Sense, locks: Interlocks) -> bool:
    """A closed contact is what is being looked into; a supply that is said to be off must go on showing it."""
    return sense.pin_v() < ABSENT_V if locks.absent else locks.inspecting


def _age_most_s(locks: Interlocks) -> float:
    """How old the last sample may be (s): in fault everything is off already, and a commissioning may go on from it."""
    if not locks.inspecting:
        return AGE_MOST_S
    return inf if locks.phase is Phase.FAULT else STANDING_AGE_MOST_S


def _board_watched(locks: Interlocks) -> bool:
    """Nothing but homing can move here, and whoever asked for it watches what becomes of it."""
    return locks.inspecting or locks.phase is Phase.REFERENCE


def _live(sense: Sense, locks: Interlocks) -> bool:
    """The source stands on the electrode, as far as is known, and not only to be looked at."""
    return sense.live and not locks.inspecting and not locks.absent


@dataclass(slots=True, frozen=True)
class Guard:
    """One row: trips when `trips` has been true for `dwell_s`."""

    cause: str
    trips: Callable[[Sense, Interlocks], bool]
    dwell_s: float
    meaning: str
    remedy: str


# Ten times the worst age measured of a healthy stream (11 ms, wires.md).
AGE_MOST_S: Final = 0.1
# With nothing on and nothing moving a computer that was held up for a moment is no fault of the machine. Chosen.
STANDING_AGE_MOST_S: Final = 1.0
# Live with no removal at most 10 s (interfaces.md): it etches the work.
IDLE_MOST_S: Final = 9.8

# From one tick to the next with the source on: after this long without a heartbeat the fail-safe gate has let the
# source go (hold-up 60 ± 20 ms, release 20 ms, electrics.md), and it would come back with the next edges by itself.
STILL_MOST_S: Final = 0.1

# Named here since a commissioning takes its conclusion from it.
NOT_ISOLATED: Final = "source not isolated"

GUARDS: tuple[Guard, ...] = (
    Guard(
        "host stood still",
        lambda sense, locks: sense.step_s > STILL_MOST_S and locks.on[Output.SOURCE],
        0.0,
        "the program stood still for so long that the fail-safe gate has let the source go",
        "find out what held the computer up (suspended? overloaded?), then start again",
    ),
    # Before all inputs: without the sampler every input reads as its worst, and would name a cause that is none.
    Guard(
        "sampler silent",
        lambda sense, locks: sense.seen.sampler_age_s > _age_most_s(locks),
        0.0,  # its time is in the condition itself
        "no sample of the gap has arrived for a tenth of a second",
        "look at the sampler's cable and supply",
    ),
    Guard(
        "stop pressed",
        lambda sense, locks: sense.seen.stop_pressed and not locks.inspecting,
        0.0,
        "the hard-wired stop was pressed; its copy says so",
        "find out why, release it, then start again",
    ),
    Guard(
        "guard open",
        lambda sense, locks: not sense.seen.guard_closed and (locks.on[Output.SOURCE] or _live(sense, locks)),
        0.0,
        "the guard was opened with the source on the electrode",
        "close the guard, then start again",
    ),
    Guard(
        "tank low",
        lambda sense, locks: not sense.seen.level_ok and not locks.inspecting,
        1.0,  # a level switch bobs; a second of dry pump harms nothing (common practice, no source)
        "the tank level switch says that the water is low",
        "fill the tank, look for a leak, then start again",
    ),
    Guard(
        "board alarm",
        lambda sense, locks: sense.seen.board is BoardState.ALARM and not _board_watched(locks),
        0.0,
        "the motion board reports an alarm: the axis positions are unknown",
        "look for what the axes ran into, then start again",
    ),
    Guard(
        "board lost",
        lambda sense, locks: sense.seen.board is BoardState.LOST and not _board_watched(locks),
        0.0,
        "the motion board does not answer, or has reset",
        "look at its cable and supply, then start again",
    ),
    Guard(
        "flow lost",
        lambda sense, locks: _live(sense, locks) and not sense.seen.flow and not dry_s(locks),
        0.3,  # live without confirmed flow at most 0.5 s (interfaces.md), less the contact's own time
        "the water stopped with the source on the electrode",
        "look at tank, filter, pump and flow switch, then start again",
    ),
    Guard(
        "no removal",
        lambda sense, locks: _live(sense, locks) and sense.idle_s > IDLE_MOST_S and not dry_s(locks),
        0.0,  # the same
        "the source stood on the electrode for ten seconds and nothing was removed",
        "is the source alive, is the work in place?",
    ),
    Guard(
        "live too long",
        lambda sense, locks: _live(sense, locks) and 0.0 < dry_s(locks) < sense.live_s,
        0.0,  # its time is in the condition itself
        "the source stood on a dry electrode for longer than commissioning may",
        "report it: a fault of the program",
    ),
    Guard(
        NOT_ISOLATED,
        lambda sense, locks: (
            not sense.seen.contact_open and not locks.on[Output.SOURCE] and not _harmless(sense, locks)
        ),
        0.15,  # five times coil and contact together (hold-up is the gate's affair), chosen so
        "the source contact was commanded off and its mirror contact says that it is closed",
        "switch the supply off at its isolator, wait 5 s, check with a meter; then inspect the source contact",
    ),
    Guard(
        "source contact dropped",
        lambda sense, locks: sense.seen.contact_open and locks.on[Output.SOURCE],
        0.15,  # the same
        "the source contact was commanded on and its mirror contact says that it is open",
        "look at heartbeat supply, coil and contact",
    ),
)


class GuardWatch:
    """Runs the table, keeping for each row how long it has been true.

    Rows that run by time are looked at in every tick. The others only when something they look at has changed, or
    while one of them is true: in a quiet tick nothing is to be seen there.
    """

    __slots__ = ("_since", "_standing", "_switches")

    def __init__(self) -> None:
        self._since: list[float | None] = [None] * len(GUARDS)
        self._standing = True
        self._switches: tuple[bool | BoardState | Phase, ...] = ()

    def check(self, sense: Sense, locks: Interlocks) -> None:
        """Raise Trip for the first row that has been true for its dwell."""
        seen = sense.seen
        switches = (
            seen.contact_open,
            seen.flow,
            seen.stop_pressed,
            seen.guard_closed,
            seen.level_ok,
            seen.board,
            sense.live,
            locks.on[Output.SOURCE],
            locks.phase,
            locks.absent,
        )
        timed = sense.idle_s > IDLE_MOST_S or locks.phase is Phase.COMMISSION or locks.absent
        running = timed or sense.step_s > STILL_MOST_S or seen.sampler_age_s > AGE_MOST_S
        if not (running or self._standing) and switches == self._switches:
            return
        self._switches = switches
        self._standing = False
        for number, guard in enumerate(GUARDS):
            if guard.trips(sense, locks):
                self._standing = True
                self._stand(number, guard, sense.time_s)
            else:
                self._since[number] = None

    def _stand(self, number: int, guard: Guard, now_s: float) -> None:
        since = self._since[number]
        if since is None:
            since = self._since[number] = now_s
        if now_s - since >= guard.dwell_s:
            raise Trip(guard.cause, guard.meaning, guard.remedy)
