"""One electrode over one plate, to drive by hand: what the tests of the erosion physics share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sim.electrode import ElectrodeTruth
from sim.erosion import Erosion, Segments
from sim.hole import HoleTruth
from sim.random import Streams
from sim.rings import rings
from sim.settings import PlantSettings, load_plant
from sim.water import WaterTruth

TICK_S = 0.01


def plant_with(**sections: Mapping[str, Any]) -> PlantSettings:
    """The default plant with some keys changed: `plant_with(wear={"tool_scale": 0.0})`."""
    plant = load_plant().model_dump()
    for name, keys in sections.items():
        plant[name] = {**plant[name], **keys}
    return PlantSettings.model_validate(plant)


@dataclass
class Bench:
    """A rod (or tube) of `rod_um` over a plate; `face_um` is the holder's face."""

    plant: PlantSettings = field(default_factory=load_plant)
    rod_um: float = 1200.0
    bore_um: float = 0.0
    thickness_um: float = 1000.0
    seed: int = 1

    def __post_init__(self) -> None:
        self.rings = rings(0.5 * self.rod_um, self.bore_um, self.plant.rod.ring_um)
        self.electrode = ElectrodeTruth(self.rings, 40_000.0, self.plant.rod.runout_um)
        self.water = WaterTruth(self.plant)
        streams = Streams(self.seed)
        self.erosion = Erosion(self.plant, streams, self.electrode, self.water, self.thickness_um, 6000.0)
        self.hole = self.new_hole()

    def new_hole(self) -> HoleTruth:
        """Stand over a fresh place."""
        self.hole = HoleTruth(self.rings, self.thickness_um, self.plant.rod.row_um)
        self.erosion.start_hole(0.0, self.hole)
        return self.hole

    def park(self, gap_um: float, seconds: float, live: bool = True, rev_min: float = 0.0) -> Segments:
        """Stand still with the lowest point of the tip this far above the face; the segments of the whole time."""
        whole: Segments = []
        face_um = self.electrode.length_um + gap_um
        for tick in range(round(seconds / TICK_S)):
            segments = self.erosion.advance(TICK_S, face_um, live=live, flow=True, rev_min=rev_min)
            whole.extend((tick * TICK_S + end_s, volts) for end_s, volts in segments)
        return whole


@dataclass
class ConstantFeed:
    """The baseline servo: feeds at a constant speed, retreats by a fixed amount at a low longer than `low_s`.

    A low that goes on is answered again every `again_s`.
    """

    feed_um_s: float = 30.0
    low_s: float = 0.025
    retreat_um: float = 40.0
    again_s: float = 0.2
    over_um: float = 300.0
    seconds: float = 0.0
    pierced_s: float = 0.0
    shorts: int = 0
    answered_s: float = 0.0

    def drill(self, bench: Bench, limit_s: float = 400.0) -> None:
        """Drill one hole as deep as the plate and `over_um`, counted from the first spark."""
        erosion, low_s, first_um, was_short = bench.erosion, 0.0, None, False
        face_um = bench.electrode.length_um + 100.0
        sparks = erosion.sparks
        while self.seconds < limit_s:
            segments = erosion.advance(TICK_S, face_um, live=True, flow=True, rev_min=0.0)
            self.seconds += TICK_S
            low_s = self._low_s(segments, low_s)
            short = erosion.in_contact or erosion.bridged
            self.shorts += short and not was_short
            was_short = short
            if first_um is None and erosion.sparks > sparks:
                first_um = face_um
            if not self.pierced_s and bench.hole.through:
                self.pierced_s = self.seconds
            if first_um is not None and face_um < first_um - bench.thickness_um - self.over_um:
                return
            face_um += self._move_um(low_s)

    def _move_um(self, low_s: float) -> float:
        if low_s < TICK_S:  # the gap was up at some time of this tick
            self.answered_s = 0.0
            return -self.feed_um_s * TICK_S
        if low_s > (self.answered_s + self.again_s if self.answered_s else self.low_s):
            self.answered_s = low_s
            return self.retreat_um
        return 0.0

    @staticmethod
    def _low_s(segments: Segments, low_s: float) -> float:
        began_s = 0.0
        for end_s, volts in segments:
            low_s = low_s + end_s - began_s if volts < 3.0 else 0.0
            began_s = end_s
        return low_s
