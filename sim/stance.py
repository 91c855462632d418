"""The electrode standing over one place: where the tip is, what it touches, what the next discharge may meet.

Keeps the gap's survey fresh, lets debris gather and be washed out, and takes craters from both sides.
"""

from __future__ import annotations

from math import exp, inf, pi
from typing import Final

from sim.electrode import ElectrodeTruth
from sim.gap import MARGIN_UM, Gap, siemens
from sim.hole import HoleTruth
from sim.ignition import Ignition
from sim.random import Draws
from sim.rings import LARGEST_SIZE, SIZE_STEP_UM
from sim.settings import PlantSettings
from sim.water import GapWater, WaterTruth
from sim.wear import wear_against_depth

# A survey serves this many candidates, this long, and until the tip went away by this much. Chosen by measuring the
# cost: more surveys, or more refused candidates.
SURVEY_CANDIDATES: Final = 40
SURVEY_S: Final = 0.4
SURVEY_AWAY_UM: Final = 10.0
# Slopes, outline and leak are taken anew after this many candidates or this long. Chosen: a discharge changes the
# electrode by a fraction of a micrometre.
LOOK_CANDIDATES: Final = 320
LOOK_S: Final = 2.0
# A tip this far above the face can't do anything. Chosen: far beyond any reach.
FAR_UM: Final = 1000.0
# Correlation of the jet's shake from survey to survey. Chosen.
SHAKE_MEMORY: Final = 0.8
# Scatter of the ridges' height between surveys, in the logarithm. Chosen.
RIDGE_LOG_SD: Final = 0.3
# Permanent bend for each micrometre pressed beyond what the rod bears. Chosen.
CRASH_BEND: Final = 0.1


class Stance:
    """One electrode over one place.

    Attributes:
        hole: The place.
        gap: Electrode against hole.
        tip_um: Height of the electrode's reference plane above the work's face.
        touching: Metal touches metal under the rod.
        struck_below: The tip touches what lies behind the plate.
        bridge_hz: Rate at which debris bridges the gap now.
        candidates: Candidates drawn since the last survey; whoever draws them counts them here.
        volt_s: Time under voltage not yet etched for, in V s; likewise.
    """

    __slots__ = (
        "_bowl", "_clear_below_um", "_debris", "_electrode", "_look_candidates", "_look_s", "_plant", "_ridge_um",
        "_shake", "_since_s", "_spread", "_surface", "_surface_um", "_tool_share", "_tool_size", "_turning", "_water",
        "_wear", "bridge_hz", "candidates", "gap", "hole", "struck_below", "tip_um", "touching", "volt_s",
    )  # fmt: skip

    def __init__(
        self,
        plant: PlantSettings,
        ignition: Ignition,
        electrode: ElectrodeTruth,
        water: WaterTruth,
        surface: Draws,
        clear_below_um: float,
        surface_um: float,
        hole: HoleTruth,
    ) -> None:
        if hole.reach == 0.0:
            hole.reach = 1.0 + plant.overcut.scatter * surface.normal()
        self._plant = plant
        self._electrode = electrode
        self._water = water
        self._surface = surface
        self._clear_below_um = clear_below_um
        self._surface_um = surface_um
        self.hole = hole
        self.gap = Gap(plant, ignition, electrode, hole)
        self._debris = GapWater(plant)
        # A bowl of depth = ratio x radius holds pi/2 x ratio x radius³.
        self._bowl = 1.0 / (0.5 * pi * plant.crater.depth_to_radius)
        self._wear = wear_against_depth(plant)
        self._tool_share = self._wear(hole.deepest_um)
        self._tool_size = plant.crater.tool_radius_ratio
        self._spread = plant.wear.turning_spread
        self._turning = False
        self._since_s, self._look_s = 0.0, inf
        self._look_candidates = self.candidates = 0
        self._shake = self._ridge_um = 0.0
        self.tip_um = inf
        self.touching = self.struck_below = False
        self.bridge_hz = self.volt_s = 0.0

    @property
    def dirt(self) -> float:
        """Dirt of tank and gap together."""
        return self._water.dirt + self._debris.dirt

    @property
    def surface_um(self) -> float:
        """Height of the work's face here (um, machine frame)."""
        return self._surface_um

    @property
    def gap_um(self) -> float:
        """Smallest distance under the rod between the mean surfaces; inf where there is nothing below."""
        return self.tip_um + self.gap.clearance_um()

    def stand(self, dt_s: float, face_um: float, flow: bool, turning: bool) -> None:
        """Move the tip there for `dt_s`; survey again when that is due; find out what touches."""
        electrode, gap = self._electrode, self.gap
        tip_um = self.tip_um = face_um - electrode.reference_um - self._surface_um
        self._since_s += dt_s
        self._turning = turning
        away_um = tip_um - gap.surveyed_um
        spent = self.candidates >= SURVEY_CANDIDATES or self._since_s >= SURVEY_S
        if spent or away_um < -MARGIN_UM or (away_um > SURVEY_AWAY_UM and gap.total_hz + self.bridge_hz > 0.0):
            self._survey(flow)
        self.touching = tip_um + gap.clear_um <= self._ridge_um and self._presses()
        if tip_um < -self.hole.thickness_um:
            lowest_um = tip_um + electrode.reference_um - electrode.length_um
            self.struck_below = self.hole.through and lowest_um <= -self.hole.thickness_um - self._clear_below_um

    def take(self, place: int, volume_um3: float) -> None:
        """A discharge struck at a place: craters in work and electrode, and their debris."""
        hole, gap = self.hole, self.gap
        radius = (volume_um3 * self._bowl) ** (1.0 / 3.0) / SIZE_STEP_UM
        foot = gap.foot(place, self.tip_um)
        count = hole.rings.count
        before_um3 = hole.removed_um3
        if place < count:
            radius *= gap.cosines[place]
            hole.crater(place, volume_um3, int(radius + 0.5) if radius < LARGEST_SIZE else LARGEST_SIZE)
        else:
            hole.side_crater(place - count, volume_um3, int(radius + 0.5) if radius < LARGEST_SIZE else LARGEST_SIZE)
        radius *= self._tool_size * self._spread if self._turning else self._tool_size
        size = int(radius + 0.5) if radius < LARGEST_SIZE else LARGEST_SIZE
        self._electrode.crater(foot, volume_um3 * self._tool_share, size)
        taken_um3 = hole.removed_um3 - before_um3
        self._debris.debris_um3 += taken_um3
        self._water.removed_um3 += taken_um3

    def leak_ohm(self) -> float:
        """Resistance through the water between tip and work now."""
        self.gap.look(self.tip_um, self._turning, 0.0)
        through_s = siemens(self.gap.conductance_um, self._water.conductivity_us_cm)
        return 1.0 / through_s if through_s > 0.0 else inf

    def _presses(self) -> bool:
        """Whether metal touches, after what discharges freed since the survey; pressed too far, the rod bends."""
        gap, rod = self.gap, self._plant.rod
        gap.clear_um = gap.clearance_um()
        pressed_um = self._ridge_um - self.tip_um - gap.clear_um
        if pressed_um > rod.crash_um:
            bend_um = CRASH_BEND * (pressed_um - rod.crash_um)
            self._electrode.bend_um = max(self._electrode.bend_um, bend_um)
        return pressed_um >= 0.0

    def _survey(self, flow: bool) -> None:
        """Take stock: water, ridges, shake, the bounds of all hazards, the rate of bridges."""
        gap, hole, rod, electrode = self.gap, self.hole, self._plant.rod, self._electrode
        self._wash(flow)
        self._tool_share = self._wear(hole.deepest_um)
        if self.tip_um + electrode.reference_um - electrode.length_um > FAR_UM:
            gap.forget(self.tip_um)
            self.bridge_hz = 0.0
            return
        self._look()
        normal = self._surface.normal
        self._shake = SHAKE_MEMORY * self._shake + (1.0 - SHAKE_MEMORY**2) ** 0.5 * normal()
        self._ridge_um = self._plant.crater.peak_um * exp(RIDGE_LOG_SD * normal())
        sweep_um = rod.jet_bend_um * abs(self._shake)
        if self._turning:
            sweep_um += electrode.run_out_um + electrode.bend_um
        dirt = self.dirt
        reach = hole.reach * (1.0 + self._plant.overcut.debris_gain * self._debris.dirt)
        gap.survey(self.tip_um, dirt, self._water.dirt, reach, self._ridge_um, sweep_um)
        smallest_um = self.tip_um + gap.clear_um - self._ridge_um
        self.bridge_hz = self._bridges_hz(smallest_um, dirt) if smallest_um < inf else 0.0

    def _bridges_hz(self, gap_um: float, dirt: float) -> float:
        """How often debris bridges a gap: often when small and dirty, never when open."""
        weld = self._plant.weld
        return weld.bridge_rate_hz * (1.0 + dirt) * exp(-max(gap_um, 0.0) / weld.bridge_gap_um)

    def _wash(self, flow: bool) -> None:
        """What the water did since the last survey."""
        hole = self.hole
        if self._since_s > 0.0:
            self._debris.flush(self._since_s, hole.deepest_um, hole.through, flow, self._turning)
        if hole.rings.solid and min(hole.depth_um[hole.rings.solid :]) >= hole.thickness_um:
            hole.drop_core()
        self._look_s += self._since_s
        self._look_candidates += self.candidates
        self._since_s, self.candidates = 0.0, 0

    def _look(self) -> None:
        """Look closely now and then, and dissolve what the leak dissolved."""
        if self._look_candidates >= LOOK_CANDIDATES or self._look_s >= LOOK_S:
            self._look_candidates, self._look_s = 0, 0.0
            self.gap.look(self.tip_um, self._turning, siemens(self.volt_s, self._water.conductivity_us_cm))
            self.volt_s = 0.0
