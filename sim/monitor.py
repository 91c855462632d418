"""An independent monitor: it sees what the plant sees, tick by tick, and nothing of the controller.

It knows what must never be (interfaces.md, "What each phase permits"; electrics.md), and what was broken on purpose:
what a fault does by itself is no breach, what the controller makes of it is.
"""

from __future__ import annotations

from math import inf
from typing import Final

from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.injector import Injector
from sim.machine import VirtualMachine

# Within so long after something broke, what it did is its own doing (s). Chosen: the dwell of the contact guards and
# the release of the contact.
BLAME_S: Final = 0.4
# The tip may go on for so long into a short, and then by a useful move and this much (s, um).
SHORT_S, SHORT_UM = 0.05, 10.0
# Live without flow, without removal, after the host's death, at most (s); the tick's own length is added.
NO_FLOW_S, NO_REMOVAL_S, HOST_DEAD_S = 0.5, 10.0, 0.12
# A short of this length is a fault in its own right: the source may be opened under it (s). Chosen.
LONG_SHORT_S: Final = 2.0
# Beyond the travel of the machine file by more than rounding (um). Chosen: a step of a coarse axis.
OUTSIDE_UM: Final = 20.0
# Faults by which voltage gets past a contact that the host has opened, for as long as they are not mended.
PAST_CONTACT: Final = frozenset({"contact-stuck", "contact-leaks"})
# Faults after which the host can't be held to what the source does.
SOURCE_BROKEN: Final = frozenset({"contact-stuck", "contact-leaks", "contact-chatters"})


class PlantMonitor:
    """Watches one machine; `breaches` says in words what must not have been.

    Args:
        machine: The machine file.
        injector: What was broken on purpose so far.
    """

    def __init__(self, machine: Machine, injector: Injector) -> None:
        axes = machine.axes
        self._low_um = [mm * UM_PER_MM - OUTSIDE_UM for mm in axes.travel_min_mm]
        self._high_um = [mm * UM_PER_MM + OUTSIDE_UM for mm in axes.travel_max_mm]
        self._useful_um = machine.useful_move_um
        self._tick_s = 1.0 / machine.tick_hz
        self._injector = injector
        self._short_s = self._dry_s = self._idle_s = self._both_s = 0.0
        self._short_tip_um = inf
        self._sparks = self._hot = self._hot_alone = 0
        self._stop_s = -inf
        self.breaches: list[str] = []

    def watch(self, plant: VirtualMachine) -> None:
        """One tick."""
        truth, contacts = plant.truth, plant.contacts
        now_s = plant.time_s
        if plant.stop_pressed:
            self._stop_s = now_s
        if contacts.live:
            self._live(plant, now_s)
        else:
            self._short_s = self._dry_s = self._idle_s = self._both_s = 0.0
        if truth.hot_openings != self._hot:
            self._hot = truth.hot_openings
            self._opened_hot(plant, now_s)
        if truth.live_alone_s > HOST_DEAD_S:
            if PAST_CONTACT.isdisjoint(self._injector.broken):
                self._breach(now_s, f"source on the electrode {truth.live_alone_s:.2f} s after the host's last tick")
            truth.live_alone_s = 0.0
        if plant.axes.homed and plant.axes.blocks:
            at_um = (plant.axes.x_um, plant.axes.y_um, plant.axes.z_um)
            if not all(low <= at <= high for low, at, high in zip(self._low_um, at_um, self._high_um, strict=True)):
                self._breach(now_s, "outside the travel")

    def _live(self, plant: VirtualMachine, now_s: float) -> None:
        contacts, erosion = plant.contacts, plant.truth.erosion
        sparks = erosion.sparks
        self._idle_s = 0.0 if sparks != self._sparks else self._idle_s + self._tick_s
        self._sparks = sparks
        self._dry_s = 0.0 if contacts.flow else self._dry_s + self._tick_s
        self._both_s = self._both_s + self._tick_s if contacts.sensing_on else 0.0
        broken = self._blamed(now_s, SOURCE_BROKEN)
        if self._dry_s > NO_FLOW_S + self._tick_s and not broken:
            self._breach(now_s, "live without flow for more than 0.5 s")
        if self._idle_s > NO_REMOVAL_S + self._tick_s and not broken:
            self._breach(now_s, "live with no removal for more than 10 s")
        if self._both_s > 0.0 and not self._lately(now_s) and not broken:
            self._breach(now_s, "source on the electrode while sensing")
        if plant.axes.moving_sideways and not broken:
            self._breach(now_s, "live while moving sideways")
        shorted = erosion.state == "shorted"
        if not shorted:
            self._short_s, self._short_tip_um = 0.0, inf
            return
        self._short_s += self._tick_s
        if self._short_s <= SHORT_S:
            self._short_tip_um = plant.face_z_um
        elif (
            self._short_tip_um - plant.face_z_um > self._useful_um + SHORT_UM
            and not self._lately(now_s)
            and PAST_CONTACT.isdisjoint(self._injector.broken)  # a touch is then a short, whatever the host does
        ):
            self._breach(now_s, f"fed on by {self._short_tip_um - plant.face_z_um:.0f} um into a short")
            self._short_tip_um = plant.face_z_um

    def _opened_hot(self, plant: VirtualMachine, now_s: float) -> None:
        """Only stop, fault and host death open it hot."""
        by_stop = now_s - self._stop_s < BLAME_S
        by_short = self._short_s > LONG_SHORT_S or plant.truth.erosion.welded
        by_death = plant.truth.hot_alone > self._hot_alone
        self._hot_alone = plant.truth.hot_alone
        if not (by_stop or by_short or by_death or self._injector.done):
            self._breach(now_s, "source contact opened under current without stop, fault or host death")

    def _lately(self, now_s: float) -> bool:
        """Something was broken on purpose just now."""
        return bool(self._injector.done) and now_s - self._injector.done[-1][1] < BLAME_S

    def _blamed(self, now_s: float, names: frozenset[str]) -> bool:
        """One of these was broken on purpose, at any time."""
        return any(name in names and at_s <= now_s for name, at_s in self._injector.done)

    def _breach(self, now_s: float, words: str) -> None:
        line = f"{now_s:.2f} s: {words}"
        if not self.breaches or self.breaches[-1].partition(": ")[2] != words:
            self.breaches.append(line)
