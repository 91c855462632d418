"""The ring grid that electrode and work share, and how a crater spreads over it.

Everything is axisymmetric: a ring stands for its whole circumference. A crater is a bowl (a paraboloid); where it
straddles rings its volume is shared by quadrature, so that what a crater holds is what the rings lose, to rounding.
"""

from __future__ import annotations

from functools import lru_cache
from math import pi
from typing import Final

import numpy as np

# Crater radii are rounded to this before they are spread. Chosen: finer than a ring.
SIZE_STEP_UM: Final = 20.0
# The largest size class (400 um across): larger than any crater of 3 ms at 10 A.
LARGEST_SIZE: Final = 10
# Points of the quadrature along the radius and around the bowl. Chosen so that shares are good to 1 %.
ALONG: Final = 12
AROUND: Final = 32

Shares = tuple[tuple[int, float], ...]


class Rings:
    """Rings of equal width from the axis to the rod's radius.

    Attributes:
        count: Number of rings under the rod; the outermost ends at the rod's radius.
        width_um: Ring width.
        radius_um: The rod's radius.
        solid: Index of the first ring with metal above it: 0 for a rod, more for a tube.
        area_um2: Area of each ring.
        work_shares: For each size class and ring: what a crater there takes from the work, as depth per volume.
        outside_share: For each size class and ring: the part of the crater beyond the rod's radius.
        tool_shares: The same for the electrode; all of it falls on metal.
    """

    __slots__ = ("area_um2", "count", "outside_share", "radius_um", "solid", "tool_shares", "width_um", "work_shares")

    def __init__(self, radius_um: float, bore_um: float, ring_um: float) -> None:
        self.radius_um = radius_um
        self.count = max(4, round(radius_um / ring_um))
        self.width_um = radius_um / self.count
        self.solid = min(self.count - 1, round(0.5 * bore_um / self.width_um))
        self.area_um2 = [pi * (2 * ring + 1) * self.width_um**2 for ring in range(self.count)]
        self.work_shares: list[list[Shares]] = []
        self.outside_share: list[list[float]] = []
        self.tool_shares: list[list[Shares]] = []
        for size in range(LARGEST_SIZE + 1):
            self._spread(size)

    def _spread(self, size: int) -> None:
        parts = [self._parts(ring, max(size, 0.5) * SIZE_STEP_UM) for ring in range(self.count)]
        self.work_shares.append([self._per_volume(inside) for inside, _ in parts])
        self.outside_share.append([outside for _, outside in parts])
        self.tool_shares.append([self._per_volume(self._kept(inside)) for inside, _ in parts])

    def _parts(self, ring: int, crater_um: float) -> tuple[dict[int, float], float]:
        """The volume shares of a bowl centred on a ring: on each ring inside, and outside in total."""
        along = (np.arange(ALONG) + 0.5) / ALONG
        around = (np.arange(AROUND) + 0.5) * 2.0 * pi / AROUND
        centre_um = (ring + 0.5) * self.width_um
        x_um = centre_um + crater_um * along[:, None] * np.cos(around)
        y_um = crater_um * along[:, None] * np.sin(around)
        weight = np.broadcast_to(((1.0 - along**2) * along)[:, None], x_um.shape)
        at = (np.hypot(x_um, y_um) / self.width_um).astype(int).ravel()
        share = np.bincount(at, weights=weight.ravel()) / weight.sum()
        inside = {int(k): float(share[k]) for k in np.flatnonzero(share[: self.count])}
        return inside, float(share[self.count :].sum())

    def _kept(self, inside: dict[int, float]) -> dict[int, float]:
        """Shares on metal alone: the whole crater is taken from the solid rings it covers."""
        kept = {ring: share for ring, share in inside.items() if ring >= self.solid} or {self.solid: 1.0}
        total = sum(kept.values())
        return {ring: share / total for ring, share in kept.items()}

    def _per_volume(self, shares: dict[int, float]) -> Shares:
        return tuple((ring, share / self.area_um2[ring]) for ring, share in sorted(shares.items()) if share > 0.0)


@lru_cache(maxsize=16)
def rings(radius_um: float, bore_um: float, ring_um: float) -> Rings:
    """The grid for one form of electrode, made once."""
    return Rings(radius_um, bore_um, ring_um)
