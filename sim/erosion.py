"""One electrode against one plate: what happens in the gap, and what the gap voltage is meanwhile.

Event driven. Within a tick the electrode stands still; discharges, cut-offs, drop-outs and bridges begin and end at
their own times. The output is one of: up and waiting for a discharge, burning, taken away by the current limit,
recovering, taken away by a drop-out, shut off after a long short. A short is not an output but a gap: the output is up
over it and has no voltage.
"""

from __future__ import annotations

from enum import StrEnum
from math import inf
from typing import Final

from controller.settings.units import S_PER_MS
from sim.bridge import Bridge, Weld
from sim.electrode import ElectrodeTruth
from sim.hole import HoleTruth
from sim.ignition import Ignition
from sim.random import Streams
from sim.settings import PlantSettings
from sim.source import Source
from sim.stance import Stance
from sim.water import WaterTruth

Segments = list[tuple[float, float]]

# Heating iron to its melt takes 10.2 J/mm³ (thermochemical tables, references section 1), in J/um³.
MELT_J_PER_UM3: Final = 10.2e-9
# A gap that waits no longer than this after a discharge still counts as sparking: a state is a regime, not the instant.
# Chosen: ten ticks at 100 Hz.
SPARKING_GRACE_S: Final = 0.1
# Recovery rises like a charging capacitor; its voltage up to these shares of the time, in steps. Chosen.
RECOVERY_STEPS = ((0.25, 0.35), (0.5, 0.70), (1.0, 0.93))
# A crater is no smaller than this share of its mean. Chosen.
LEAST_CRATER: Final = 0.1
# Share of a tick's own load in the running load. Chosen: a memory of some 50 ms at 100 Hz.
LOAD_SHARE: Final = 0.2
# Beyond this the tip leaks nothing that could be told from open. Chosen.
LEAK_REACH_UM: Final = 2000.0
# A bridge that is a fault would stand so long by itself (s). Chosen: longer than a small retreat waits.
BRIDGED_S: Final = 30.0
# A tip stays wet this many seconds after the jet stopped. Chosen.
WET_S: Final = 20.0


class TrueGapState(StrEnum):
    """What the gap really is."""

    OPEN = "open"
    SPARKING = "sparking"
    SHORTED = "shorted"
    OFF = "off"


# What the source's output does. Plain numbers: compared several times for every discharge.
WAITING: Final = 0
BURNING: Final = 1
CUT: Final = 2
RECOVERING: Final = 3
DROPPED: Final = 4
SHUT: Final = 5


class Erosion:
    """The physics of one electrode in one plate.

    Args:
        plant: The plant.
        streams: Its chance.
        electrode: The electrode; others may measure, advance or renew it.
        water: The tank's water, shared by all holes.
        thickness_um: Thickness of the plate: every hole's.
        clear_below_um: Room under it; the tip touches metal beyond.

    Attributes:
        in_contact: Metal touches metal (or is welded) now.
        state: What the gap is at the end of the tick.
        open_s, sparking_s, shorted_s, off_s: Shares of the last tick, in seconds.
        sparks: Discharges so far.
        delays_s: Ignition delays, only collected when set to a list.
        struck_below: The tip went beyond the room under the plate.
        dead, any_thickness: Faults: the source gives nothing; the plate is not as thick all over as the job says.
    """

    def __init__(
        self,
        plant: PlantSettings,
        streams: Streams,
        electrode: ElectrodeTruth,
        water: WaterTruth,
        thickness_um: float,
        clear_below_um: float,
    ) -> None:
        self._plant = plant
        self.electrode = electrode
        self.water = water
        self._thickness_um = thickness_um
        self._clear_below_um = clear_below_um
        self._ignite = streams.named("ignition")
        self._craters = streams.named("craters")
        self._surface = streams.named("surface")
        self._places = streams.named("places")
        self._source = Source(plant, streams.named("source"), streams.named("drop-outs"))
        self._ignition = Ignition(plant)
        self._bridge = Bridge(plant, streams.named("bridges"))
        self._weld = Weld(plant, streams.named("welds"), electrode)
        self._share = plant.crater.energy_share * plant.crater.energy_scale / MELT_J_PER_UM3
        self._off_v = plant.source.off_v
        self._recovery_s = plant.source.recovery_ms * S_PER_MS
        self._scatter = plant.crater.scatter
        self._stance: Stance | None = None
        self._output = WAITING
        self._left_s = 0.0
        self._wait_s = 0.0
        self._grace_s = 0.0
        self._budget = self._ignite.exponential()
        self._burning_v = 0.0
        self._short_s = 0.0
        self._load = 0.0
        self._dry_s = inf
        self.in_contact = False
        self.struck_below = False
        self.dead = self.any_thickness = False
        self.state = TrueGapState.OFF
        self.open_s = self.sparking_s = self.shorted_s = self.off_s = 0.0
        self.sparks = 0
        self.delays_s: list[float] | None = None

    # ------------------------------------------------------------------ what others see

    @property
    def hole(self) -> HoleTruth | None:
        """The place of the work that the electrode stands over."""
        return None if self._stance is None else self._stance.hole

    @property
    def bridged(self) -> bool:
        """Debris bridges the gap now."""
        return self._bridge.active

    @property
    def carries_current(self) -> bool:
        """A discharge burns or metal is bridged now: the source contact would open under current."""
        return self._output == BURNING or self.state is TrueGapState.SHORTED

    @property
    def welded(self) -> bool:
        """The tip sticks to the work now."""
        return self._weld.held

    @property
    def gap_um(self) -> float:
        """Smallest distance under the rod between the mean surfaces; inf where there is nothing below."""
        return inf if self._stance is None else self._stance.gap_um

    @property
    def dirt(self) -> float:
        """Dirt of tank and gap together."""
        return self.water.dirt if self._stance is None else self._stance.dirt

    @property
    def hazard_hz(self) -> float:
        """How many discharges a second the gap would ignite while voltage stands over it, where the tip is now."""
        return 0.0 if self._stance is None else self._stance.gap.summed_hz(self._stance.tip_um)

    def leak_ohm(self) -> float:
        """Resistance through the water between tip and work; inf when dry or far."""
        if self._stance is None or self._dry_s > WET_S or self._stance.gap_um > LEAK_REACH_UM:
            return inf
        return self._stance.leak_ohm()

    # ------------------------------------------------------------------ what others do

    def start_hole(self, surface_z_um: float, hole: HoleTruth) -> None:
        """Stand over a place of the work whose face is at `surface_z_um`; ValueError if it is of another plate."""
        if hole.thickness_um != self._thickness_um and not self.any_thickness:
            raise ValueError(f"a hole of {hole.thickness_um} um in a plate of {self._thickness_um} um")
        self._bridge.active = False
        self.electrode.wear_bend_off()
        self._stance = Stance(
            self._plant,
            self._ignition,
            self.electrode,
            self.water,
            self._surface,
            self._clear_below_um,
            surface_z_um,
            hole,
        )

    def weld_for_good(self) -> None:
        """A fault: the tip sticks, stronger than any pull."""
        self._weld.hold_for_good()
        self.in_contact = True

    def bridge_now(self) -> None:
        """A fault: debris bridges the gap, for long."""
        if self._stance is not None:
            self._bridge.form(self._stance.tip_um)
            self._bridge.last(BRIDGED_S)

    def drop_outs_by(self, gain: float) -> None:
        """A fault: the source drops out so many times as often."""
        self._source.drop_outs_by(gain)

    def clear_below(self, room_um: float) -> None:
        """A fault: something lies this close behind the work, from the next hole on."""
        self._clear_below_um = room_um

    def start_over(self) -> None:
        """The electrode's tip is another one: whoever stands here looks anew."""
        if self._stance is not None:
            self.start_hole(self._stance.surface_um, self._stance.hole)

    def leave(self) -> None:
        """Nothing is below the electrode now."""
        self._stance = None
        self.in_contact = False
        self._bridge.active = False

    def pull(self, lift_um: float) -> None:
        """The axis has been lifted by this much since the tip welded."""
        self._weld.pull(lift_um)

    def free(self) -> None:
        """Work the electrode loose by hand: weld and bridge are gone."""
        if self._weld.held:
            self._weld.free()
        self._bridge.active = False

    def advance(self, dt_s: float, face_z_um: float, live: bool, flow: bool, rev_min: float) -> Segments:
        """Let `dt_s` pass with the holder's face at `face_z_um`.

        Returns:
            Gap voltage as segments (time of their end within the tick in s, volts), covering `dt_s`.
        """
        self._dry_s = 0.0 if flow else self._dry_s + dt_s
        self.open_s = self.sparking_s = self.shorted_s = self.off_s = 0.0
        if self._stance is not None:
            self._stand(self._stance, dt_s, face_z_um, live, flow, rev_min > 0.0)
        if not live or self.dead:
            return self._unpowered(dt_s)
        if self.in_contact or self._bridge.active:
            return self._shorted(dt_s, face_z_um, rev_min > 0.0)
        self._short_s = 0.0
        return self._powered(dt_s)

    def _stand(self, stance: Stance, dt_s: float, face_z_um: float, live: bool, flow: bool, turning: bool) -> None:
        """Bring the tip there and let shorts hold, tear or end."""
        stance.stand(dt_s, face_z_um, flow, turning)
        if self._weld.held:
            self._weld.strain(dt_s, face_z_um, turning)
        if self._bridge.active:
            self._bridge.age(dt_s, stance.tip_um, flow)
        elif live:
            self._bridge.gather(dt_s, stance.bridge_hz, stance.tip_um)
        self.struck_below = self.struck_below or stance.struck_below
        self.in_contact = stance.touching or self._weld.held or stance.struck_below

    # ------------------------------------------------------------------ time

    def _unpowered(self, dt_s: float) -> Segments:
        self._output = WAITING
        self._wait_s = self._short_s = self._grace_s = 0.0
        self.off_s = dt_s
        self.state = TrueGapState.OFF
        return [(dt_s, 0.0)]

    def _shorted(self, dt_s: float, face_z_um: float, turning: bool) -> Segments:
        """A short holds the whole tick. The source may shut off, or drop out, over it."""
        self._grace_s = 0.0
        if self._output >= DROPPED:
            return self._away(dt_s)
        self._output = WAITING
        self._wait_s = 0.0
        if self._source.until_drop_s(dt_s, 1.0) < inf:
            self._drop()
        self._short_s += dt_s
        if self._short_s > self._plant.source.shutoff_after_s:
            self._output, self._left_s = SHUT, self._plant.source.shutoff_s
            self._short_s = 0.0
        if not self._weld.held:
            self._weld.hold(dt_s, face_z_um, turning)
        self.shorted_s = dt_s
        self.state = TrueGapState.SHORTED
        return [(dt_s, self._source.shorted_v)]

    def _drop(self) -> None:
        self._output, self._left_s = DROPPED, self._source.drop_s()

    def _away(self, dt_s: float) -> Segments:
        """The output is away by itself for this tick."""
        self._left_s -= dt_s
        if self._left_s <= 0.0:
            self._output, self._wait_s = WAITING, 0.0
        self.off_s = dt_s
        self.state = TrueGapState.OFF
        return [(dt_s, self._off_v)]

    def _powered(self, dt_s: float) -> Segments:
        """The output is up over an open gap: let events happen until the tick is over."""
        segments: Segments = []
        source, off_v = self._source, self._off_v
        drop_s = source.until_drop_s(dt_s, self._load) if self._output < DROPPED else inf
        until_s = min(dt_s, drop_s)
        now_s = 0.0
        while True:
            output = self._output
            if output == WAITING:
                now_s = self._wait(now_s, until_s, segments)
            else:
                end_s = now_s + self._left_s
                over = end_s <= until_s
                if not over:
                    self._left_s = end_s - until_s
                    end_s = until_s
                if output == CUT:
                    segments.append((end_s, off_v))
                    self.sparking_s += end_s - now_s
                else:
                    self._show(output, now_s, end_s, segments)
                if over:
                    self._next(output)
                now_s = end_s
            if now_s >= until_s:
                if until_s >= dt_s:
                    break
                until_s = dt_s
                self._output, self._left_s = DROPPED, source.drop_s()
        self._load += LOAD_SHARE * (self.sparking_s / dt_s - self._load)
        self._name()
        return segments

    def _name(self) -> None:
        """What the gap is now, from what the output does."""
        if self._output == WAITING:
            self.state = TrueGapState.SPARKING if self._grace_s > 0.0 else TrueGapState.OPEN
        else:
            self.state = TrueGapState.SPARKING if self._output < DROPPED else TrueGapState.OFF

    def _wait(self, now_s: float, until_s: float, segments: Segments) -> float:
        """Wait for a discharge from `now_s` to `until_s` at most; the time it is then."""
        stance, began_s = self._stance, now_s
        total_hz = stance.gap.total_hz if stance is not None else 0.0
        struck = -1
        if stance is None or total_hz <= 0.0:
            now_s = until_s
        else:
            gap, uniform, tip_um = stance.gap, self._places.uniform, stance.tip_um
            while True:
                left_s = self._budget / total_hz
                if now_s + left_s >= until_s:
                    self._budget -= total_hz * (until_s - now_s)
                    now_s = until_s
                    break
                now_s += left_s
                self._budget = self._ignite.exponential()
                stance.candidates += 1
                place, bound_hz = gap.place(uniform())
                if uniform() * bound_hz < gap.hazard_hz(place, tip_um):
                    struck = place
                    break
        waited_s = now_s - began_s
        if waited_s > 0.0:
            self._tally_wait(waited_s)
            segments.append((now_s, self._source.open_v))
        if stance is not None:
            stance.volt_s += waited_s * self._source.open_v
            if struck >= 0:
                self._strike(stance, struck)
        return now_s

    def _tally_wait(self, waited_s: float) -> None:
        self._wait_s += waited_s
        if waited_s <= self._grace_s:
            self._grace_s -= waited_s
            self.sparking_s += waited_s
        else:
            self.sparking_s += self._grace_s
            self.open_s += waited_s - self._grace_s
            self._grace_s = 0.0

    def _strike(self, stance: Stance, place: int) -> None:
        """A discharge begins: its time, its energy, its craters."""
        source = self._source
        if self.delays_s is not None:
            self.delays_s.append(self._wait_s)
        self._wait_s = 0.0
        self._burning_v = source.burning_v()
        self._left_s = source.on_s()
        self._output = BURNING
        self.sparks += 1
        self._grace_s = SPARKING_GRACE_S
        scatter = 1.0 + self._scatter * self._craters.normal()
        # The bound of references section 1 holds for every discharge: never more than all its energy melts.
        share = min(self._share * max(scatter, LEAST_CRATER), 1.0 / MELT_J_PER_UM3)
        stance.take(place, source.energy_j(self._burning_v, self._left_s) * share)

    def _show(self, output: int, now_s: float, end_s: float, segments: Segments) -> None:
        """The gap voltage from `now_s` to `end_s`, and whose time that is."""
        if output >= DROPPED:
            self.off_s += end_s - now_s
            self._grace_s = 0.0
            segments.append((end_s, self._off_v))
            return
        self.sparking_s += end_s - now_s
        if output == RECOVERING:
            open_v = self._source.open_v
            for share, level in RECOVERY_STEPS:
                segments.append((now_s + share * (end_s - now_s), level * open_v))
        elif self._source.chopped:
            self._source.chop(now_s, end_s, self._burning_v, segments)
        else:
            segments.append((end_s, self._burning_v))

    def _next(self, output: int) -> None:
        """What the output does after it is done with `output`."""
        if output == BURNING:
            self._output, self._left_s = CUT, self._source.off_s()
        elif output == CUT:
            self._output, self._left_s = RECOVERING, self._recovery_s
        else:
            self._output = WAITING
            self._wait_s = 0.0
