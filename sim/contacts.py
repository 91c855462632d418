"""The switched parts: source contact with its mirror contact, sensing feed, pump and flow, all but one behind a gate.

The gate is what is left of the machine when the host dies: a charge pump that starves without heartbeat edges. The
source contact drops first, the pump some time later, by themselves.
"""

from __future__ import annotations

from math import inf
from typing import Final

from controller.core.commands import Output
from controller.settings.units import S_PER_MS
from sim.settings import ContactsPlant

# How long a loose terminal makes and breaks (s). Chosen: longer than the contact needs to follow.
CHATTER_S: Final = 0.03


class Relay:
    """A contact that follows its coil after a making or a breaking time (s).

    Faults: `welded`, shut for good; `dead`, its coil gets no current.
    """

    __slots__ = ("_breaking_s", "_making_s", "closed", "dead", "due_s", "wanted", "welded")

    def __init__(self, making_s: float, breaking_s: float) -> None:
        self._making_s = making_s
        self._breaking_s = breaking_s
        self.closed = False
        self.wanted = False
        self.welded = self.dead = False
        self.due_s = inf

    @property
    def at_rest(self) -> bool:
        """True when the contact is open and not on its way to close: what a mirror contact proves."""
        return not self.closed and not self.wanted

    def drive(self, on: bool, now_s: float) -> None:
        """Put the coil on or off."""
        on = on and not self.dead
        if on == self.wanted:
            return
        self.wanted = on
        self.due_s = inf if on == self.closed else now_s + (self._making_s if on else self._breaking_s)

    def weld(self) -> None:
        """It welds, shut, now."""
        self.welded = self.closed = True

    def settle(self, now_s: float) -> None:
        """Let the contact arrive where its coil wants it."""
        if now_s >= self.due_s:
            self.closed = self.wanted or self.welded
            self.due_s = inf

    def settle_open(self) -> None:
        """A person has broken a welded contact loose."""
        self.welded = False
        self.closed = self.wanted


class Gate:
    """The charge pump behind the heartbeat: alive after a few edges, starved `hold_up_s` after the last one."""

    __slots__ = ("_edges", "_edges_needed", "_hold_up_s", "alive", "starves_s", "supplied")

    def __init__(self, hold_up_s: float, edges_needed: int) -> None:
        self._hold_up_s = hold_up_s
        self.supplied = True  # a fault: without supply its edges lead nowhere
        self._edges_needed = edges_needed
        self._edges = 0
        self.alive = False
        self.starves_s = inf

    def edge(self, now_s: float) -> bool:
        """One heartbeat edge; return True when the gate came alive with it."""
        if not self.supplied:
            return False
        self.starves_s = now_s + self._hold_up_s
        if self.alive:
            return False
        self._edges += 1
        self.alive = self._edges >= self._edges_needed
        return self.alive

    def starve(self) -> None:
        """The last edge is too long ago."""
        self.alive = False
        self._edges = 0
        self.starves_s = inf


class Contacts:
    """All contacts on one time line.

    Attributes:
        next_s: When something will change by itself, so that a tick in which nothing does costs one comparison.
        live: The source is on the electrode.
        sensing_on: The sensing feed is on the electrode.
        flow: Water runs, and the flow switch says so.
        contact_open: The mirror contact: it breaks before the main contact makes, makes after that has broken.
    """

    def __init__(self, plant: ContactsPlant) -> None:
        self._link_s = plant.link_ms * S_PER_MS
        self._pump_hold_s = plant.pump_drop_s
        self.source = Relay(plant.source_close_ms * S_PER_MS, plant.source_open_ms * S_PER_MS)
        self.sensing = Relay(plant.sensing_ms * S_PER_MS, plant.sensing_ms * S_PER_MS)
        self.pump = Relay(0.0, 0.0)
        self.water = Relay(plant.flow_on_s, plant.flow_off_s)
        self.gate = Gate(plant.hold_up_ms * S_PER_MS, plant.pump_up_edges)
        self._pins = {Output.SOURCE: False, Output.SENSING: False, Output.WATER: False}
        self._arriving: list[tuple[float, Output, bool]] = []
        self._pump_cut_s = inf
        self._pump_gate = False
        self._powered = True
        self.leaks = False
        self._chatter_s = inf
        self._broken = False
        self._own_s = inf
        self.next_s = inf
        self.live = self.sensing_on = self.flow = False
        self.contact_open = True

    def switch(self, output: Output, on: bool, now_s: float) -> None:
        """Send a pin level to the sampler board; it arrives after the link's latency."""
        self._arriving.append((now_s + self._link_s, output, on))
        self._plan_next()

    def heartbeat(self, now_s: float) -> None:
        """One edge of a completed tick."""
        if self.gate.edge(now_s):
            self._pump_gate = True
            self._pump_cut_s = inf
            self._drive(now_s)
            self._plan_next()
        self.next_s = min(self._own_s, self.gate.starves_s)

    def cut_power(self, now_s: float) -> None:
        """The hard-wired stop: coil and pump lose their supply."""
        self._powered = False
        self._drive(now_s)
        self._plan_next()

    def restore_power(self, now_s: float) -> None:
        """The stop is released."""
        self._powered = True
        self._drive(now_s)
        self._plan_next()

    def refresh(self, now_s: float) -> None:
        """Something about the wiring has changed."""
        self._drive(now_s)
        self._plan_next()

    def chatter(self, on: bool, now_s: float) -> None:
        """A loose terminal at the source contact's coil: it breaks and makes by itself, or no more."""
        self._chatter_s = now_s if on else inf
        self._broken = False
        self.refresh(now_s)

    def weld_source(self, now_s: float) -> None:
        """The source contact welds: from now on it is shut, whatever its coil wants."""
        self.source.weld()
        self._drive(now_s)
        self._plan_next()

    def advance(self, to_s: float) -> None:
        """Let everything due up to a machine time (s) happen, in its order."""
        while self.next_s <= to_s:
            self._happen(self.next_s)
            self._plan_next()

    def _happen(self, now_s: float) -> None:
        """Everything due at this moment."""
        while self._arriving and self._arriving[0][0] <= now_s:
            _, output, on = self._arriving.pop(0)
            self._pins[output] = on
        if now_s >= self.gate.starves_s:
            self.gate.starve()
            self._pump_cut_s = now_s + self._pump_hold_s
        if now_s >= self._chatter_s:
            self._broken = not self._broken
            self._chatter_s = now_s + CHATTER_S
        if now_s >= self._pump_cut_s:
            self._pump_gate = False
            self._pump_cut_s = inf
        self._drive(now_s)

    def _drive(self, now_s: float) -> None:
        """Coils follow pins, gate and power; contacts follow coils."""
        self.source.drive(self._pins[Output.SOURCE] and self.gate.alive and self._powered and not self._broken, now_s)
        self.sensing.drive(self._pins[Output.SENSING], now_s)
        self.pump.drive(self._pins[Output.WATER] and self._pump_gate and self._powered, now_s)
        self.source.settle(now_s)
        self.sensing.settle(now_s)
        self.pump.settle(now_s)
        self.water.drive(self.pump.closed, now_s)
        self.water.settle(now_s)
        self.live = self.source.closed or (self.leaks and self._powered)
        self.sensing_on, self.flow = self.sensing.closed, self.water.closed
        self.contact_open = self.source.at_rest

    def _plan_next(self) -> None:
        arriving_s = self._arriving[0][0] if self._arriving else inf
        self._own_s = min(
            arriving_s,
            self._pump_cut_s,
            self._chatter_s,
            self.source.due_s,
            self.sensing.due_s,
            self.pump.due_s,
            self.water.due_s,
        )
        self.next_s = min(self._own_s, self.gate.starves_s)
