"""Touching a wall sideways with the side of the electrode, on the sensing path: contact, release, and again.

One axis moves, toward the wall and square to the other axis. Its steps are coarse beside what is looked for, so a
contact lies somewhere in the last step and counts in its middle. Play is measured, not believed: after contact the axis
goes back step by step until the reading opens, and what it went idle before is the lost motion of that axis in that
place. Places count as `travel` reaches them, arriving toward smaller figures: a touch made toward larger ones stands
too far by the lost motion, which is taken off.

The first low reading is contact without force: at the slow speed the rod has not bent by more than the step in which it
touched. The fast search before it may bend the rod by its overshoot, which stays well within what springs back
(`TOUCH_SPEED_UM_S`), and is not what counts.

Beside a wall there is no deep film: water between a rod's side and a wall conducts over a strip so narrow that the
reading falls below 0.1 V within a tenth of a micrometre of the metal (R = g/(σ·A), electrics.md), so nothing is taken
off for water; that it was there is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean, median
from typing import Final

from controller.core.commands import Move
from controller.core.cycles.contacts import OPEN_V, prove, reading_v, release
from controller.core.cycles.touch import LIFT_UM_S, SLOW_UM_S, WET_V
from controller.core.cycles.wait import drain, pause
from controller.core.events import SideTouched
from controller.core.path import FEED_WORD_UM_S
from controller.core.permissions import TOUCH_SPEED_UM_S
from controller.core.phases import Trigger
from controller.core.rig import Bench, Cycle, Trip
from controller.core.window import METAL_V
from controller.settings.units import UM_PER_MM

# Way back after a release before the next slow touch: film drag and stick-slip are left behind. Chosen.
BACK_OFF_UM: Final = 40.0
# How much further than the believed play a release may be looked for: soft axes have up to 60 µm, a rod that was bent
# by the search springs back. Chosen.
RELEASE_MOST_UM: Final = 300.0
# Two touches agree when they lie within a step and this: stick-slip and roughness of a few µm each. Chosen.
AGREE_UM: Final = 6.0
# An `ack` board swallows moves of fewer steps (wires.md); there a contact is known to that many.
ACK_LEAST_STEPS: Final = 6
REPEATS_LEAST: Final = 3
REPEATS_MOST: Final = 6
# Stick-slip of a usual axis, evenly between nothing and this (common practice, no source).
STICK_UM: Final = 2.0
# Roughness of rod and wall where they happen to meet, one standard deviation. Chosen, as a spark-worn face.
ROUGH_UM: Final = 1.5


@dataclass(slots=True, frozen=True)
class Side:
    """A direction along one axis: 0 is x, 1 is y; toward larger (+1) or smaller (-1) figures."""

    axis: int
    sign: int

    @property
    def words(self) -> str:
        """Its name."""
        return f"{'+' if self.sign > 0 else '-'}{'xy'[self.axis]}"


@dataclass(slots=True, frozen=True)
class SideContact:
    """A wall met by the rod's side. Places in µm as the axes count them, the moved one not yet freed of lost motion.

    Attributes:
        x_um, y_um: Where the axes stood, the contact in the middle of its step.
        z_um: The height of the axis.
        side: Where the rod was going.
        lost_um: Lost motion between contact and release; u_lost_um is its standard uncertainty.
        u_um: Standard uncertainty of the contact along the axis, lost motion not in it.
        spread_um: Range of the touches that count.
        wet: Water was between before the metal.
    """

    x_um: float
    y_um: float
    z_um: float
    side: Side
    lost_um: float
    u_lost_um: float
    u_um: float
    spread_um: float
    wet: bool


def touch_side(rig: Bench, side: Side, reach_um: float, purpose: str) -> Cycle[SideContact]:
    """Feed sideways until a wall is met, at most `reach_um`; the tip stands beside it, below its rim.

    Starts and ends in idle, back where it began. Raises Trip when the sensing path is closed or nothing is met.
    """
    rig.enter(Trigger.TOUCH)
    if (yield from prove(rig)) <= OPEN_V:
        raise Trip(
            "sensing path closed",
            f"the sensing path reads contact before {purpose} was touched",
            "is the start really clear of the work? look for a bridge or a bent electrode; then start again nearer "
            "to where the wall is not",
        )
    seen = rig.sense.seen
    sweep = _Sweep(rig, side, (seen.x_um, seen.y_um, seen.z_um))
    if not (yield from sweep.feed(TOUCH_SPEED_UM_S, reach_um)):
        raise Trip(
            f"nothing found at {purpose}",
            f"no contact within {reach_um / UM_PER_MM:.2f} mm toward {side.words}",
            "is the plate where it was said to be, grounded, and the tip below its rim? give a better place",
        )
    yield from sweep.let_go()
    contacts: list[float] = []
    losses: list[float] = []
    while len(contacts) < REPEATS_LEAST or (not _agree(contacts, sweep.step_um) and len(contacts) < REPEATS_MOST):
        yield from sweep.back(BACK_OFF_UM)
        if not (yield from sweep.feed(SLOW_UM_S, sweep.s_um + RELEASE_MOST_UM)):
            raise Trip(
                "contact lost",
                f"{purpose} was there a moment ago and can't be touched again",
                "look at the electrode's clamp and at the plate's",
            )
        contacts.append(sweep.s_um - sweep.step_um / 2.0)
        losses.append((yield from sweep.let_go()))
    yield from sweep.back(sweep.s_um)
    yield from release(rig)
    rig.enter(Trigger.TOUCHED)
    contact = _contact(sweep, contacts, losses)
    rig.tell(
        SideTouched(
            rig.now_s,
            purpose,
            side.words,
            contact.x_um / UM_PER_MM,
            contact.y_um / UM_PER_MM,
            contact.z_um / UM_PER_MM,
            contact.spread_um / UM_PER_MM,
            contact.lost_um / UM_PER_MM,
            contact.wet,
        )
    )
    return contact


def _agree(contacts: Sequence[float], step_um: float) -> bool:
    last = contacts[-REPEATS_LEAST:]
    return max(last) - min(last) <= step_um + AGREE_UM


def _contact(sweep: _Sweep, contacts: Sequence[float], losses: Sequence[float]) -> SideContact:
    counted = contacts[-REPEATS_LEAST:]
    at_um = fmean(counted) if _agree(contacts, sweep.step_um) else median(contacts)
    spread_um = max(counted) - min(counted)
    step_u = sweep.step_um / sqrt(12.0)
    scatter_u = hypot(ROUGH_UM, STICK_UM / sqrt(12.0), max(spread_um - sweep.step_um, 0.0) / 2.0)
    # A fixed wall meets the same step each time, so repeats don't make the step finer; roughness they do.
    u_um = hypot(step_u, scatter_u / sqrt(len(counted)))
    u_lost_um = hypot(step_u * sqrt(2.0), scatter_u * sqrt(2.0 / len(losses)))
    x, y, z = sweep.place(at_um)
    return SideContact(x, y, z, sweep.side, fmean(losses[-REPEATS_LEAST:]), u_lost_um, u_um, spread_um, sweep.wet)


class _Sweep:
    """The axis on its way: `s_um` counts from where it began, in whole steps of this board."""

    def __init__(self, rig: Bench, side: Side, start: tuple[float, float, float]) -> None:
        self._rig = rig
        self.side = side
        self._start = start
        axes = rig.machine.axes
        least = ACK_LEAST_STEPS if rig.machine.motion.convention == "ack" else 1
        self.step_um = least * UM_PER_MM / axes.steps_per_mm[side.axis]
        self._most_um = axes.backlash_um[side.axis] + RELEASE_MOST_UM
        self.s_um = 0.0
        self.wet = False
        self._waters = 0

    def place(self, s_um: float) -> tuple[float, float, float]:
        """Axis place at an arc length."""
        x, y, z = self._start
        return (x + self.side.sign * s_um, y, z) if self.side.axis == 0 else (x, y + self.side.sign * s_um, z)

    def feed(self, speed_um_s: float, reach_um: float) -> Cycle[bool]:
        """Go on until metal is sensed; False at `reach_um`. Ends standing, `s_um` where contact was seen."""
        rig, owed_um = self._rig, 0.0
        while True:
            if rig.sense.seen.samples:
                volts = rig.sense.pin_v()
                self._look_for_water(volts)
                if volts < METAL_V:
                    seen_at_um = self._arc()
                    yield from drain(rig)
                    if (yield from reading_v(rig)) < METAL_V:
                        self.s_um = self._arc() if speed_um_s > SLOW_UM_S else seen_at_um
                        return True
            if self.s_um > reach_um:
                return False
            owed_um += speed_um_s * rig.tick_s
            if owed_um >= self.step_um and rig.sense.seen.queued <= 1:
                steps = int(owed_um / self.step_um)
                owed_um -= steps * self.step_um
                yield (self._go(self.s_um + steps * self.step_um, FEED_WORD_UM_S),)
            else:
                owed_um = min(owed_um, 2.0 * self.step_um)
                yield ()

    def let_go(self) -> Cycle[float]:
        """Go back step by step until the reading opens; returns the lost motion between contact and release."""
        rig = self._rig
        contact_um = self.s_um
        while True:
            yield (self._go(self.s_um - self.step_um, FEED_WORD_UM_S),)
            yield from drain(rig)
            yield from pause(rig, 2.0 * rig.tick_s)
            if (yield from reading_v(rig)) >= METAL_V:
                # Contact in the middle of its step, release in the middle of its own.
                return contact_um - self.s_um - self.step_um
            if contact_um - self.s_um > self._most_um:
                raise Trip(
                    "contact won't open",
                    f"the reading stays low {self._most_um:.0f} µm back from the wall",
                    "a chip or water bridges rod and wall, or the axis has more play than the machine file says",
                )

    def back(self, by_um: float) -> Cycle[None]:
        """Away from the wall, fast."""
        yield (self._go(max(self.s_um - by_um, 0.0), TOUCH_SPEED_UM_S),)
        yield from drain(self._rig)

    def _go(self, s_um: float, speed_um_s: float) -> Move:
        self.s_um = s_um
        return Move(*self.place(s_um), min(speed_um_s, TOUCH_SPEED_UM_S, LIFT_UM_S))

    def _arc(self) -> float:
        seen = self._rig.sense.seen
        along = (seen.x_um, seen.y_um)[self.side.axis] - self._start[self.side.axis]
        return self.side.sign * along

    def _look_for_water(self, volts: float) -> None:
        self._waters = self._waters + 1 if METAL_V <= volts < WET_V else 0
        self.wet = self.wet or self._waters >= 3
