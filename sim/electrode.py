"""The electrode as it really is: a height field on rings, so that it shortens and sharpens by being struck."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp
from typing import Final

from sim.rings import SIZE_STEP_UM, Rings

# A bend sits in this much of the rod's end, and goes as that wears away. Chosen: a few diameters.
BENT_END_UM: Final = 3000.0


class ElectrodeTruth:
    """One rod or tube in the holder.

    `height_um[i]` is how far ring `i` of the face stands above the plane of the new face; that plane is
    `reference_um` below the holder's face.
    """

    __slots__ = (
        "_bent_at_um",
        "_dirty",
        "_lowest_um",
        "bend_um",
        "height_um",
        "lost_um3",
        "reference_um",
        "rings",
        "run_out_um",
    )

    def __init__(self, rings: Rings, length_um: float, run_out_um: float) -> None:
        self.rings = rings
        self.run_out_um = run_out_um
        self.renew(length_um)

    def renew(self, length_um: float) -> None:
        """Put in a new, straight, flat-faced stick that stands out by `length_um`."""
        self.height_um = [0.0] * self.rings.count
        self.reference_um = length_um
        self.bend_um = 0.0
        self.lost_um3 = 0.0
        self._lowest_um = 0.0
        self._dirty = False
        self._bent_at_um = length_um

    @property
    def length_um(self) -> float:
        """From the holder's face to the lowest point of the tip."""
        if self._dirty:
            self._lowest_um = min(self.height_um[self.rings.solid :])
            self._dirty = False
        return self.reference_um - self._lowest_um

    @property
    def profile_um(self) -> Sequence[float]:
        """Height of each solid ring above the lowest point, from the axis (or the bore) outward."""
        lowest_um = self.reference_um - self.length_um
        return [height - lowest_um for height in self.height_um[self.rings.solid :]]

    @property
    def cone_um(self) -> float:
        """Height of the rim above the lowest point: the length of the worn cone."""
        return self.height_um[-1] - (self.reference_um - self.length_um)

    @property
    def worn_um3(self) -> float:
        """Volume that the shape has lost since the stick was new: what the craters' sum must equal."""
        rings = self.rings
        solid = rings.solid
        return sum(h * a for h, a in zip(self.height_um[solid:], rings.area_um2[solid:], strict=True))

    def advance(self, by_um: float) -> None:
        """Push the rod out of the holder (or in, when negative)."""
        self.reference_um += by_um
        self._bent_at_um += by_um

    def shorten(self, by_um: float, *, flat: bool) -> None:
        """Stand out less by this much: the tip broke off (and is flat then), or the rod slipped."""
        length_um = self.length_um - by_um
        if flat:
            self.height_um = [0.0] * self.rings.count
            self._dirty = True
            self.reference_um = length_um
            self._bent_at_um = length_um
        else:
            self.advance(-by_um)

    def wear_bend_off(self) -> None:
        """The bent end wears away: to be called now and then, once a hole."""
        length_um = self.length_um
        self.bend_um *= exp(min(length_um - self._bent_at_um, 0.0) / BENT_END_UM)
        self._bent_at_um = length_um

    def shape_as(self, other: ElectrodeTruth) -> None:
        """Take the shape of another electrode's tip; the length stays what it is to the reference plane."""
        self.height_um = list(other.height_um)
        self.bend_um = other.bend_um
        self._dirty = True

    def crater(self, ring: int, volume_um3: float, size: int) -> None:
        """Lose a crater centred on `ring`, of size class `size`; what stands back by more than its radius is spared."""
        height_um = self.height_um
        deepest_um = height_um[ring] + size * SIZE_STEP_UM
        area_um2 = self.rings.area_um2
        left_um3 = volume_um3
        for on, per_volume in self.rings.tool_shares[size][ring]:
            if height_um[on] <= deepest_um:
                lost_um = volume_um3 * per_volume
                height_um[on] += lost_um
                left_um3 -= lost_um * area_um2[on]
        height_um[ring] += left_um3 / area_um2[ring]
        self.lost_um3 += volume_um3
        self._dirty = True
