"""One hole as it really is: rings of depth under the rod, rows of radius along the wall.

Under the rod the work is a floor: `depth_um[j]` below the face on ring `j`. Beyond the rod's radius it is a wall:
`wall_um[k]` is the hole's radius in row `k`, counted from the top. Floors resolve depth without steps, walls resolve
diameter without steps. A row is exposed once the outermost floor ring has come down to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from math import inf, pi, sqrt

from sim.rings import LARGEST_SIZE, SIZE_STEP_UM, Rings


@cache  # the same for every hole of a plate; each on its own would be most of what a long job keeps
def _row_shares(row_um: float) -> list[list[tuple[int, float]]]:
    """How a crater on the wall spreads over rows, for each size class: offsets and shares of a bowl cut in strips."""
    classes = []
    for size in range(LARGEST_SIZE + 1):
        crater_um = max(size, 0.5) * SIZE_STEP_UM
        reach = int(crater_um / row_um)
        strips = {step: (1.0 - (step * row_um / crater_um) ** 2) ** 1.5 for step in range(-reach, reach + 1)}
        total = sum(strips.values())
        classes.append([(step, strip / total) for step, strip in strips.items() if strip > 0.0])
    return classes


class HoleTruth:
    """One place of the work. Volumes in um³, lengths in um, depths down from the face."""

    __slots__ = (
        "_rim_um",
        "_shares",
        "centre_um",
        "depth_um",
        "reach",
        "removed_um3",
        "rings",
        "row_um",
        "thickness_um",
        "through",
        "wall_um",
    )

    def __init__(self, rings: Rings, thickness_um: float, row_um: float) -> None:
        self.rings = rings
        self.thickness_um = thickness_um
        rows = max(2, round(thickness_um / row_um))
        self.row_um = thickness_um / rows
        self.depth_um = [0.0] * rings.count
        self.wall_um = [rings.radius_um] * rows
        self.removed_um3 = 0.0
        self.centre_um: tuple[float, float] | None = None  # in the work, where the electrode first stood
        self.reach = 0.0  # this place's own factor on the reach; drawn when the electrode first stands here
        self.through = False
        self._rim_um = thickness_um  # left of the outermost ring when its neighbour went through
        self._shares = _row_shares(self.row_um)

    @property
    def exposed(self) -> int:
        """Number of rows the spark can reach, from the top."""
        return min(len(self.wall_um), int(self.depth_um[-1] / self.row_um) + 1)

    @property
    def open(self) -> bool:
        """True when nothing is left under the rod."""
        return min(self.depth_um) >= self.thickness_um

    @property
    def deepest_um(self) -> float:
        """Depth of the deepest ring."""
        return max(self.depth_um)

    def side_room_um(self, profile_um: Sequence[float], tip_depth_um: float) -> float:
        """How far a rod in the middle of the hole can go sideways until it meets the wall (um).

        Args:
            profile_um: Height of the rod's solid rings above its lowest point, from the axis outward.
            tip_depth_um: How deep that point is below the face.
        """
        room_um = inf
        outer = self.rings.count - len(profile_um)
        for row in range(min(self.exposed, int(tip_depth_um / self.row_um) + 1)):
            above_um = tip_depth_um - (row + 0.5) * self.row_um
            rod_um = max(
                (ring + outer + 1) * self.rings.width_um if h <= above_um else 0.0 for ring, h in enumerate(profile_um)
            )
            if rod_um > 0.0:
                room_um = min(room_um, self.wall_um[row] - rod_um)
        return room_um

    @property
    def missing_um3(self) -> float:
        """Volume that is gone by the shape: what the craters' sum must equal."""
        rings = self.rings
        floor = sum(d * a for d, a in zip(self.depth_um, rings.area_um2, strict=True))
        return floor + sum(pi * self.row_um * (w * w - rings.radius_um**2) for w in self.wall_um)

    def shape_as(self, other: HoleTruth) -> None:
        """Take the shape of another hole in the same work."""
        self.depth_um, self.wall_um = list(other.depth_um), list(other.wall_um)
        self.reach, self.through, self._rim_um = other.reach, other.through, other._rim_um

    def crater(self, ring: int, volume_um3: float, size: int) -> None:
        """Lose a crater whose middle is on floor ring `ring`."""
        depth_um, thickness_um = self.depth_um, self.thickness_um
        lost_um3 = 0.0
        for on, per_volume in self.rings.work_shares[size][ring]:
            depth = depth_um[on] + volume_um3 * per_volume
            if depth >= thickness_um:
                lost_um3 += (depth - thickness_um) * self.rings.area_um2[on]
                if on == self.rings.count - 2 and depth_um[on] < thickness_um:
                    self._rim_um = thickness_um - depth_um[-1]
                depth = thickness_um
                self.through = True
            depth_um[on] = depth
        outside_um3 = volume_um3 * self.rings.outside_share[size][ring]
        if outside_um3 > 0.0:
            lost_um3 += self._beyond(outside_um3, size)
        self.removed_um3 += volume_um3 - lost_um3

    def side_crater(self, row: int, volume_um3: float, size: int) -> None:
        """Lose a crater whose middle is on wall row `row`.

        Near a face it is mirrored at it, an edge breaks out; what it would have in rows not yet exposed stays on the
        lowest that is.
        """
        lowest, last = self.exposed - 1, len(self.wall_um) - 1
        for step, share in self._shares[size]:
            on = row + step
            if on < 0:
                on = -1 - on
            elif on > last:
                on = 2 * last + 1 - on
            self.widen(min(on, lowest), volume_um3 * share)
        self.removed_um3 += volume_um3

    def drop_core(self) -> None:
        """Let the core inside a tube's bore fall out, once nothing holds it."""
        rings = self.rings
        for ring in range(rings.solid):
            self.removed_um3 += (self.thickness_um - self.depth_um[ring]) * rings.area_um2[ring]
            self.depth_um[ring] = self.thickness_um

    def entry_diameter_um(self) -> float:
        """Diameter of the hole in the face, 0 before it is as wide as the rod."""
        return 2.0 * self.wall_um[0] if self.depth_um[-1] > 0.0 else 0.0

    def exit_diameter_um(self) -> float:
        """The largest pin that passes the hole: 0 when not through, less than the rod while only the tip is."""
        if not self.through or self.depth_um[0] < self.thickness_um:
            return 0.0
        if self.open:
            return 2.0 * min(self.wall_um)
        return 2.0 * self._pierced_um()

    def _pierced_um(self) -> float:
        """Radius at which the floor crosses the far face, between the middles of two rings.

        What is left of the ring where it crosses, over the slope from there outward, is how far it still has to come.
        Beyond the outermost ring is wall and no slope: there what was left when its neighbour went through counts.
        """
        rings, depth_um = self.rings, self.depth_um
        ring = next(j for j in range(rings.count) if depth_um[j] < self.thickness_um)
        left_um = self.thickness_um - depth_um[ring]
        if ring < rings.count - 1:
            slope_um = max(depth_um[ring] - depth_um[ring + 1], 1e-6)
            return max((ring + 0.5 - min(left_um / slope_um, 1.0)) * rings.width_um, 0.0)
        come = 1.0 - min(left_um / max(self._rim_um, 1e-6), 1.0)
        return (ring - 0.5 + 1.5 * come) * rings.width_um

    def _beyond(self, volume_um3: float, size: int) -> float:
        """Take what a floor crater has beyond the rod's radius from the row it is in; the volume that met nothing."""
        row = self.exposed - 1
        if self.wall_um[row] < self.rings.radius_um + 0.5 * size * SIZE_STEP_UM:
            self.widen(row, volume_um3)
            return 0.0
        room_um3 = (self.thickness_um - self.depth_um[-1]) * self.rings.area_um2[-1]
        taken_um3 = min(volume_um3, room_um3)
        self.depth_um[-1] += taken_um3 / self.rings.area_um2[-1]
        return volume_um3 - taken_um3

    def widen(self, row: int, volume_um3: float) -> None:
        """Take a volume from one row of the wall."""
        wall_um = self.wall_um[row]
        self.wall_um[row] = sqrt(wall_um * wall_um + volume_um3 / (pi * self.row_um))
