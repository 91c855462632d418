"""What the sampler reads of the electrode: by what feeds it, what it touches, and the water between."""

from __future__ import annotations

from math import inf
from typing import Final

from controller.settings.machine import Machine
from sim.erosion import Erosion, Segments
from sim.ground import Below
from sim.plates import Film, leak_ohm, wall_leak_ohm
from sim.random import Draws
from sim.sampler import Sampler
from sim.settings import PlantSettings
from sim.tip import Tip
from sim.water import WaterTruth
from sim.workpiece import Workpiece

# With the biased front end, how long a leak through the water is taken as unchanged (s). Chosen.
LEAK_KEPT_S: Final = 0.1


class Readings:
    """The sampler's view of one tip.

    Args:
        machine: How the front end is wired.
        plant: What is true of sampler, source and water.
        tip: What is looked at.
        erosion: Its gap.
        water: What conducts there.
        draws: The sampler's own stream.

    Attributes:
        film: Water that stands on plates and drips from the tip.
        plate_grounded: The reference plate is connected.
        tool_positive: The source's poles are swapped.
    """

    __slots__ = (
        "_biased", "_contact_ohm", "_divided", "_erosion", "_leak_ohm", "_leak_until_s", "_sampler", "_shorted_v",
        "_tip", "_water", "film", "plate_grounded", "tool_positive",
    )  # fmt: skip

    def __init__(
        self, machine: Machine, plant: PlantSettings, tip: Tip, erosion: Erosion, water: WaterTruth, draws: Draws
    ) -> None:
        wires = machine.sampler
        self._sampler = Sampler(
            wires.front_end, wires.sensing_series_ohm, wires.full_scale_v, plant.sampler, draws.normal
        )
        self._biased = wires.front_end == "biased"
        self._divided = wires.front_end == "divider"
        self._tip, self._erosion, self._water = tip, erosion, water
        self._contact_ohm, self._shorted_v = plant.sampler.contact_ohm, plant.source.shorted_v
        drips = plant.water
        self.film = Film(drips.film_um, drips.film_rest_um, drips.film_s, drips.drip_um, drips.drip_s)
        self.plate_grounded = True
        self.tool_positive = False
        self._leak_ohm, self._leak_until_s = inf, 0.0

    def elsewhere(self) -> None:
        """Over another place: nothing is known of a leak there."""
        self._leak_until_s = 0.0

    def live(self, segments: Segments, dt_s: float, now_s: float) -> list[int]:
        """Readings with the source on the electrode. A short, once begun, holds to the end of the piece."""
        if self.tool_positive and not self._divided:
            # A clamp takes the wrong sign for nothing at all; the divider takes the amount.
            segments = [(end_s, 0.0) for end_s, _ in segments]
        if self._tip.below is Below.REFERENCE:
            contact = self._tip.press_on_reference() <= 0.0
            if contact:
                segments = [(dt_s, self._shorted_v)]
            return self._sampler.live(segments, contact, inf)
        contact = self._erosion.in_contact or self._erosion.bridged
        if contact:
            segments[-1] = (segments[-1][0], min(segments[-1][1], self._shorted_v))
        return self._sampler.live(segments, contact, self._leak(now_s) if self._biased else inf)

    def sensing(self, dt_s: float, now_s: float) -> list[int]:
        """Readings with the sensing feed on the electrode."""
        return self._sampler.sensing(self._ohm(now_s), dt_s)

    def dead(self, dt_s: float) -> list[int]:
        """Readings with neither; a tip pressed on the reference plate gives way all the same."""
        readings = self._sampler.dead(dt_s)
        if self._tip.below is Below.REFERENCE:
            self._tip.press_on_reference()
        return readings

    def _leak(self, now_s: float) -> float:
        """Leak through the gap's water (ohm), looked at now and then."""
        if now_s >= self._leak_until_s:
            self._leak_ohm = self._erosion.leak_ohm()
            self._leak_until_s = now_s + LEAK_KEPT_S
        return self._leak_ohm

    def _ohm(self, now_s: float) -> float:
        """What the sensing feed sees between electrode and grounded metal (ohm)."""
        tip = self._tip
        if tip.below is Below.REFERENCE:
            return self._ohm_to_reference(now_s)
        placed = tip.placed
        if placed is not None:
            return self._ohm_to(placed, now_s)
        if tip.below is Below.WORK:
            if self._erosion.in_contact or self._erosion.bridged or tip.at_wall():
                return self._contact_ohm
            if tip.z_um - tip.metal_um < self.film.reach_um(now_s):
                return self._erosion.leak_ohm()
        return inf

    def _ohm_to_reference(self, now_s: float) -> float:
        gap_um = self._tip.press_on_reference()
        if not self.plate_grounded:
            return inf
        return self._contact_ohm if gap_um <= 0.0 else self._ohm_down(gap_um, now_s)

    def _ohm_to(self, plate: Workpiece, now_s: float) -> float:
        """The same to a plate that may be touched from any side; water is looked for where metal is nearest."""
        gap_um = self._tip.press_on(plate)
        if gap_um <= 0.0:
            return self._contact_ohm
        x_um, y_um, tip_um = self._tip.place_um
        if plate.covers(x_um, y_um):
            return self._ohm_down(gap_um, now_s)
        if gap_um >= self.film.thickness_um(now_s):
            return inf
        area_um2 = plate.wet_um2(gap_um, x_um, y_um, tip_um, self._tip.rod())
        return wall_leak_ohm(gap_um, area_um2, self._water.conductivity_us_cm)

    def _ohm_down(self, gap_um: float, now_s: float) -> float:
        """Through the water between the end of the tip and a plate below it."""
        reach_um = self.film.reach_um(now_s)
        if gap_um >= reach_um:
            return inf
        return leak_ohm(gap_um, reach_um, self._tip.rings(), self._water.conductivity_us_cm)
