"""Guards: what is watched in every tick whatever the cycle does, as one table of rows.

Each row says when it trips, how long that must last, what it means and what clears it. A tripped guard isolates the
source at once, under current if need be, and ends in `fault`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.commands import Output
from controller.core.interlocks import Interlocks
from controller.core.observation import BoardState
from controller.core.permissions import PERMISSIONS
from controller.core.phases import Phase
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
    """One row: trips when `trips` has been true for `dwell_s`; what it means is in `causes.py`."""

    cause: Cause
    trips: Callable[[Sense, Interlocks], bool]
    dwell_s: float


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
NOT_ISOLATED: Final = Cause.SOURCE_NOT_ISOLATED

GUARDS: tuple[Guard, ...] = (
    Guard(
        Cause.HOST_STOOD_STILL,
        lambda sense, locks: sense.step_s > STILL_MOST_S and locks.on[Output.SOURCE],
        0.0,
    ),
    # Before all inputs: without the sampler every input reads as its worst, and would name a cause that is none.
    Guard(
        Cause.SAMPLER_SILENT,
        lambda sense, locks: sense.seen.sampler_age_s > _age_most_s(locks),
        0.0,  # its time is in the condition itself
    ),
    Guard(
        Cause.STOP_PRESSED,
        lambda sense, locks: sense.seen.stop_pressed and not locks.inspecting,
        0.0,
    ),
    Guard(
        Cause.GUARD_OPEN,
        lambda sense, locks: not sense.seen.guard_closed and (locks.on[Output.SOURCE] or _live(sense, locks)),
        0.0,
    ),
    Guard(
        Cause.TANK_LOW,
        lambda sense, locks: not sense.seen.level_ok and not locks.inspecting,
        1.0,  # a level switch bobs; a second of dry pump harms nothing (common practice, no source)
    ),
    Guard(
        Cause.BOARD_ALARM,
        lambda sense, locks: sense.seen.board is BoardState.ALARM and not _board_watched(locks),
        0.0,
    ),
    Guard(
        Cause.BOARD_LOST,
        lambda sense, locks: sense.seen.board is BoardState.LOST and not _board_watched(locks),
        0.0,
    ),
    Guard(
        Cause.CONTACT_CHATTERS,
        lambda sense, locks: sense.chatters and not locks.inspecting,
        0.0,
    ),
    Guard(
        Cause.DROP_OUTS,
        lambda sense, locks: sense.stormy and locks.on[Output.SOURCE],
        0.0,
    ),
    Guard(
        Cause.FLOW_LOST,
        lambda sense, locks: _live(sense, locks) and not sense.seen.flow and not dry_s(locks),
        0.3,  # live without confirmed flow at most 0.5 s (interfaces.md), less the contact's own time
    ),
    Guard(
        Cause.NO_REMOVAL,
        lambda sense, locks: _live(sense, locks) and sense.idle_s > IDLE_MOST_S and not dry_s(locks),
        0.0,  # the same
    ),
    Guard(
        Cause.LIVE_TOO_LONG,
        lambda sense, locks: _live(sense, locks) and 0.0 < dry_s(locks) < sense.live_s,
        0.0,  # its time is in the condition itself
    ),
    Guard(
        NOT_ISOLATED,
        lambda sense, locks: (
            not sense.seen.contact_open and not locks.on[Output.SOURCE] and not _harmless(sense, locks)
        ),
        0.15,  # five times coil and contact together (hold-up is the gate's affair), chosen so
    ),
    Guard(
        Cause.CONTACT_DROPPED,
        lambda sense, locks: sense.seen.contact_open and locks.on[Output.SOURCE],
        0.15,  # the same
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
        running = timed or sense.stormy or sense.step_s > STILL_MOST_S or seen.sampler_age_s > AGE_MOST_S
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
            raise trip(guard.cause)
