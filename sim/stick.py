"""The stick of electrode: how much of it stands out of the holder, how much is left above, and a box of new ones."""

from __future__ import annotations

from controller.settings.units import UM_PER_MM
from sim.electrode import ElectrodeTruth


class Stick:
    """One stick in its holder. Lengths inside in um, outside in mm.

    Args:
        electrode: What stands out of the holder; worn by eroding.
        new_mm: Length of a new stick.
        grip_mm: What the holder needs to hold on to.
        least_mm: The least that must stand out for work to be possible.

    Attributes:
        renewed: Sticks put in since.
        stuck: A fault: what is held can't be pushed out any further, until another stick is put in.
    """

    def __init__(self, electrode: ElectrodeTruth, new_mm: float, grip_mm: float, least_mm: float) -> None:
        self.electrode = electrode
        self._new_um = new_mm * UM_PER_MM
        self._grip_um = grip_mm * UM_PER_MM
        self._least_um = least_mm * UM_PER_MM
        self._held_um = self._new_um - electrode.length_um
        self.renewed = 0
        self.stuck = False

    @property
    def stock_mm(self) -> float:
        """Length of the whole stick (mm), in the holder and out of it."""
        return (self._held_um + self.electrode.length_um) / UM_PER_MM

    def advance(self, protrusion_mm: float) -> None:
        """Let the stick stand out by `protrusion_mm`, or by what there is; a stick too short is renewed."""
        if self.stuck:
            return
        out_um = self.electrode.length_um
        possible_um = out_um + self._held_um - self._grip_um
        if possible_um < self._least_um:
            self.renew(protrusion_mm)
            return
        wanted_um = min(protrusion_mm * UM_PER_MM, possible_um)
        self.electrode.advance(wanted_um - out_um)
        self._held_um -= wanted_um - out_um

    def renew(self, protrusion_mm: float) -> None:
        """Put in a new stick."""
        out_um = min(protrusion_mm * UM_PER_MM, self._new_um - self._grip_um)
        self.electrode.renew(out_um)
        self.stuck = False
        self._held_um = self._new_um - out_um
        self.renewed += 1
