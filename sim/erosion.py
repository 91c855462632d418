"""One electrode against one plate: what happens in the gap, and what the gap voltage is meanwhile.

Event driven. Within a tick the electrode stands still; discharges, cut-offs, drop-outs and bridges begin and end at
their own times. The output is one of: up and waiting for a discharge, burning, taken away by the current limit,
recovering, taken away by a drop-out, shorted, shut off after a long short.
"""

from __future__ import annotations

from enum import StrEnum
from math import exp, inf, pi

from controller.settings.units import S_PER_MS
from sim.bridge import Bridge, Weld
from sim.electrode import ElectrodeTruth
from sim.gap import MARGIN_UM, Gap, siemens
from sim.hole import HoleTruth
from sim.ignition import Ignition
from sim.random import Streams
from sim.rings import LARGEST_SIZE, SIZE_STEP_UM
from sim.settings import PlantSettings
from sim.source import Source
from sim.water import GapWater, WaterTruth

Segments = list[tuple[float, float]]

# Heating iron to its melt takes 10.2 J/mm³ (thermochemical tables, references section 1), in J/um³.
MELT_J_PER_UM3 = 10.2e-9
# A gap that waits no longer than this after a discharge still counts as sparking: chosen, one tick at 100 Hz; a state
# is a regime, not the instant.
SPARKING_GRACE_S = 0.010
# A survey serves this many candidates, this long, and until the tip went away by this much. Chosen by measuring the
# cost: more surveys, or more refused candidates.
SURVEY_CANDIDATES, SURVEY_S, SURVEY_AWAY_UM = 40, 0.4, 10.0
# Slopes, outline and leak are taken anew after this many discharges or this long. Chosen: a discharge changes the
# electrode by a fraction of a micrometre.
LOOK_SPARKS, LOOK_S = 160, 2.0
# Correlation of the jet's shake and the ridges from survey to survey. Chosen.
SHAKE_MEMORY = 0.8
# Recovery rises like a charging capacitor; its voltage up to these shares of the time, in steps. Chosen.
RECOVERY_STEPS = ((0.25, 0.35), (0.5, 0.70), (1.0, 0.93))
# Permanent bend for each micrometre pressed beyond what the rod bears. Chosen.
CRASH_BEND = 0.1
# A crater is no smaller than this share of its mean. Chosen.
LEAST_CRATER = 0.1
# Share of a tick's own load in the running load. Chosen: a memory of some 50 ms at 100 Hz.
LOAD_SHARE = 0.2
# Beyond this the tip leaks nothing that could be told from open. Chosen.
LEAK_REACH_UM = 2000.0
# A tip stays wet this many seconds after the jet stopped. Chosen.
WET_S = 20.0


class TrueGapState(StrEnum):
    """What the gap really is."""

    OPEN = "open"
    SPARKING = "sparking"
    SHORTED = "shorted"
    OFF = "off"


# What the source's output does. Plain numbers: compared several times for every discharge.
WAITING, BURNING, CUT, RECOVERING, DROPPED, SHUT = range(6)


class Erosion:
    """The physics of one electrode in one plate.

    Args:
        plant: The plant.
        streams: Its chance.
        electrode: The electrode; others may measure, advance or renew it.
        water: The tank's water, shared by all holes.
        thickness_um: Thickness of the plate.
        clear_below_um: Room under it; the tip touches metal beyond.

    Attributes:
        in_contact: Metal touches metal (or is welded) now.
        bridged: Debris bridges the gap now.
        state: What the gap is at the end of the tick.
        open_s, sparking_s, shorted_s, off_s: Shares of the last tick, in seconds.
        sparks: Discharges so far.
        delays_s: Ignition delays, only collected when set to a list.
        struck_below: The tip went beyond the room under the plate.
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
        self._debris = GapWater(plant)
        self._share = plant.crater.energy_share * plant.crater.energy_scale / MELT_J_PER_UM3
        self._tool_share = plant.wear.volumetric_ratio * plant.wear.tool_scale
        # Bowl of depth = ratio * radius: volume = pi/2 * ratio * radius³.
        self._bowl = 1.0 / (0.5 * pi * plant.crater.depth_to_radius)
        self._tool_size = plant.crater.tool_radius_ratio
        self._off_v = plant.source.off_v
        self._recovery_s = plant.source.recovery_ms * S_PER_MS
        self._scatter = plant.crater.scatter
        self._spread = plant.wear.turning_spread
        self._gap: Gap | None = None
        self._surface_um = 0.0
        self._output = WAITING
        self._left_s = 0.0
        self._until_s = 0.0
        self._wait_s = 0.0
        self._budget = self._ignite.exponential()
        self._bridge_budget = self._surface.exponential()
        self._bridge_hz = 0.0
        self._burning_v = 0.0
        self._short_s = 0.0
        self._load = 0.0
        self._candidates = self._look_sparks = 0
        self._since_s = self._look_s = 0.0
        self._open_volt_s = 0.0
        self._dry_s = inf
        self._shake = self._ridge = 0.0
        self._turning = False
        self._tip_um = inf
        self.in_contact = False
        self.struck_below = False
        self.state = TrueGapState.OFF
        self.open_s = self.sparking_s = self.shorted_s = self.off_s = 0.0
        self._grace_s = 0.0
        self.sparks = 0
        self.delays_s: list[float] | None = None

    # ------------------------------------------------------------------ what others see

    @property
    def bridged(self) -> bool:
        return self._bridge.active

    @property
    def welded(self) -> bool:
        return self._weld.held

    @property
    def gap_um(self) -> float:
        """Smallest distance under the rod between the mean surfaces; inf where there is nothing below."""
        return inf if self._gap is None else self._tip_um + self._clearance_um()

    @property
    def dirt(self) -> float:
        """Dirt of tank and gap together."""
        return self.water.dirt + self._debris.dirt

    def leak_ohm(self) -> float:
        """Resistance through the water between tip and work; inf when dry or far."""
        if self._gap is None or self._dry_s > WET_S or self.gap_um > LEAK_REACH_UM:
            return inf
        self._gap.look(self._tip_um, self._turning, 0.0)
        through = siemens(self._gap.conductance_s, self.water.conductivity_us_cm)
        return 1.0 / through if through > 0.0 else inf

    # ------------------------------------------------------------------ what others do

    def start_hole(self, surface_z_um: float, hole: HoleTruth) -> None:
        """Stand over a place of the work whose face is at `surface_z_um`."""
        if hole.reach == 0.0:
            hole.reach = 1.0 + self._plant.overcut.scatter * self._surface.normal()
        self._surface_um = surface_z_um
        self._gap = Gap(self._plant, self._ignition, self.electrode, hole)
        self._debris.debris_um3 = 0.0
        self._bridge.active = False
        self._look_s = inf
        self._tip_um = inf

    def leave(self) -> None:
        """Nothing is below the electrode now."""
        self._gap = None
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
        self._turning = turning = rev_min > 0.0
        self._dry_s = 0.0 if flow else self._dry_s + dt_s
        self.open_s = self.sparking_s = self.shorted_s = self.off_s = 0.0
        if self._gap is not None:
            self._stand(dt_s, face_z_um, flow, turning)
        if not live:
            return self._unpowered(dt_s)
        if self.in_contact or self._bridge.active:
            return self._shorted(dt_s, face_z_um, turning)
        self._short_s = 0.0
        return self._powered(dt_s)

    # ------------------------------------------------------------------ geometry

    def _stand(self, dt_s: float, face_z_um: float, flow: bool, turning: bool) -> None:
        """Move the tip there; look again when that is due; find out what touches."""
        gap = self._gap
        assert gap is not None
        tip_um = self._tip_um = face_z_um - self.electrode.reference_um - self._surface_um
        self._since_s += dt_s
        away_um = tip_um - gap.surveyed_um
        if (
            away_um < -MARGIN_UM
            or away_um > SURVEY_AWAY_UM
            or (self._candidates >= SURVEY_CANDIDATES or self._since_s >= SURVEY_S)
        ):
            self._survey(flow, turning)
        if self._weld.held:
            self._weld.strain(dt_s, face_z_um, turning)
        self.in_contact = self._weld.held
        if tip_um + gap.clear_um <= self._ridge:
            self._touch(gap)
        elif tip_um < -self._thickness_um:
            self._look_below(gap)
        if self._bridge.active:
            self._bridge.age(dt_s, tip_um, flow)

    def _touch(self, gap: Gap) -> None:
        """The surveyed clearance is used up: discharges may have made more since."""
        self._survey_now(gap)
        pressed_um = self._ridge - self._tip_um - gap.clear_um
        if pressed_um < 0.0:
            return
        self.in_contact = True
        if pressed_um > self._plant.rod.crash_um:
            bend_um = CRASH_BEND * (pressed_um - self._plant.rod.crash_um)
            self.electrode.bend_um = max(self.electrode.bend_um, bend_um)

    def _look_below(self, gap: Gap) -> None:
        tip_um = self._tip_um + self.electrode.reference_um - self.electrode.length_um
        if tip_um <= -self._thickness_um - self._clear_below_um and gap.hole.through:
            self.in_contact = self.struck_below = True

    def _clearance_um(self) -> float:
        gap = self._gap
        assert gap is not None
        solid, thickness_um = gap.hole.rings.solid, gap.hole.thickness_um
        pairs = zip(self.electrode.height_um[solid:], gap.hole.depth_um[solid:], strict=True)
        return min((height + depth for height, depth in pairs if depth < thickness_um), default=inf)

    def _survey(self, flow: bool, turning: bool) -> None:
        """Take stock: water, ridges, shake, the bounds of all hazards, the bridges' rate."""
        gap = self._gap
        assert gap is not None
        elapsed_s, self._since_s, self._candidates = self._since_s, 0.0, 0
        hole, plant = gap.hole, self._plant
        if elapsed_s > 0.0:
            self._debris.flush(elapsed_s, hole.deepest_um, hole.through, flow, turning)
        self._look_s += elapsed_s
        if self._look_sparks >= LOOK_SPARKS or self._look_s >= LOOK_S:
            self._look_sparks, self._look_s = 0, 0.0
            sigma = siemens(1.0, self.water.conductivity_us_cm)
            gap.look(self._tip_um, turning, self._open_volt_s * sigma)
            self._open_volt_s = 0.0
        if hole.rings.solid and min(hole.depth_um[hole.rings.solid :]) >= hole.thickness_um:
            hole.drop_core()
        fresh = (1.0 - SHAKE_MEMORY**2) ** 0.5
        self._shake = SHAKE_MEMORY * self._shake + fresh * self._surface.normal()
        self._ridge = plant.crater.peak_um * exp(0.3 * self._surface.normal())
        self._survey_now(gap)
        self._bridge_hz = 0.0
        smallest_um = self._tip_um + gap.clear_um
        if smallest_um < inf:
            self._bridge_hz = self._bridge.rate_hz(smallest_um - self._ridge, self.dirt)

    def _survey_now(self, gap: Gap) -> None:
        rod, electrode = self._plant.rod, self.electrode
        sweep_um = rod.jet_bend_um * abs(self._shake)
        if self._turning:
            sweep_um += electrode.run_out_um + electrode.bend_um
        gap.survey(self._tip_um, self.dirt, gap.hole.reach, self._ridge, sweep_um)

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
        until_s = drop_s if drop_s < dt_s else dt_s
        now_s = 0.0
        while True:
            output = self._output
            if output == WAITING:
                now_s = self._wait(now_s, until_s, segments)
                if self._bridge.active:
                    return self._bridged(now_s, dt_s, segments)
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

    def _bridged(self, now_s: float, dt_s: float, segments: Segments) -> Segments:
        if dt_s > now_s:
            self.shorted_s += dt_s - now_s
            segments.append((dt_s, self._source.shorted_v))
        self.state = TrueGapState.SHORTED
        return segments

    def _wait(self, now_s: float, until_s: float, segments: Segments) -> float:
        """Wait for a discharge, or a bridge, from `now_s` to `until_s` at most; the time it is then."""
        gap = self._gap
        began_s = now_s
        total_hz = gap.total_hz if gap is not None else 0.0
        struck = False
        if self._bridge_hz > 0.0 and gap is not None:
            self._bridge_budget -= self._bridge_hz * (until_s - now_s)
            if self._bridge_budget <= 0.0:
                self._bridge_budget = self._surface.exponential()
                self._bridge.form(self._tip_um)
        while gap is not None and total_hz > 0.0:
            step_s = self._budget / total_hz
            if now_s + step_s >= until_s:
                self._budget -= total_hz * (until_s - now_s)
                now_s = until_s
                break
            now_s += step_s
            self._budget = self._ignite.exponential()
            self._candidates += 1
            place, bound_hz = gap.place(self._places.uniform())
            if self._places.uniform() * bound_hz < gap.hazard_hz(place, self._tip_um):
                struck = True
                break
        else:
            now_s = until_s
        waited_s = now_s - began_s
        if waited_s > 0.0:
            self._tally_wait(waited_s)
            segments.append((now_s, self._source.open_v))
        if struck:
            assert gap is not None
            self._strike(gap, place)
        return now_s

    def _tally_wait(self, waited_s: float) -> None:
        self._wait_s += waited_s
        self._open_volt_s += waited_s * self._source.open_v
        if waited_s <= self._grace_s:
            self._grace_s -= waited_s
            self.sparking_s += waited_s
        else:
            self.sparking_s += self._grace_s
            self.open_s += waited_s - self._grace_s
            self._grace_s = 0.0

    def _strike(self, gap: Gap, place: int) -> None:
        """A discharge begins: its time, its energy, its craters."""
        source = self._source
        if self.delays_s is not None:
            self.delays_s.append(self._wait_s)
        self._wait_s = 0.0
        self._burning_v = source.burning_v()
        self._left_s = source.on_s()
        self._output = BURNING
        self.sparks += 1
        self._look_sparks += 1
        self._grace_s = SPARKING_GRACE_S
        scatter = 1.0 + self._scatter * self._craters.normal()
        # The bound of references section 1 holds for every discharge: never more than all its energy melts.
        share = self._share * (scatter if scatter > LEAST_CRATER else LEAST_CRATER)
        if share > 1.0 / MELT_J_PER_UM3:
            share = 1.0 / MELT_J_PER_UM3
        self._take(gap, place, source.energy_j(self._burning_v, self._left_s) * share)

    def _take(self, gap: Gap, place: int, volume_um3: float) -> None:
        """Craters in work and electrode, and their debris."""
        hole = gap.hole
        radius = (volume_um3 * self._bowl) ** (1.0 / 3.0) / SIZE_STEP_UM
        foot = gap.foot(place, self._tip_um)
        count = hole.rings.count
        before_um3 = hole.removed_um3
        if place < count:
            radius *= gap.cosines[place]
            hole.crater(place, volume_um3, int(radius + 0.5) if radius < LARGEST_SIZE else LARGEST_SIZE)
        else:
            hole.side_crater(place - count, volume_um3, int(radius + 0.5) if radius < LARGEST_SIZE else LARGEST_SIZE)
        radius *= self._tool_size * (self._spread if self._turning else 1.0)
        size = int(radius + 0.5) if radius < LARGEST_SIZE else LARGEST_SIZE
        self.electrode.crater(foot, volume_um3 * self._tool_share, size)
        taken_um3 = hole.removed_um3 - before_um3
        self._debris.debris_um3 += taken_um3
        self.water.removed_um3 += taken_um3

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
            self._chop(now_s, end_s, segments)
        else:
            segments.append((end_s, self._burning_v))

    def _chop(self, now_s: float, end_s: float, segments: Segments) -> None:
        """Burning voltage and nothing in turns, at the chopping frequency."""
        plant = self._plant.source
        period_s = S_PER_MS / plant.chop_khz
        while now_s < end_s:
            segments.append((min(now_s + plant.chop_duty * period_s, end_s), self._burning_v))
            now_s += period_s
            if segments[-1][0] < end_s:
                segments.append((min(now_s, end_s), plant.off_v))

    def _next(self, output: int) -> None:
        """What the output does after it is done with `output`."""
        if output == BURNING:
            self._output, self._left_s = CUT, self._source.off_s()
        elif output == CUT:
            self._output, self._left_s = RECOVERING, self._recovery_s
        else:
            self._output = WAITING
            self._wait_s = 0.0
