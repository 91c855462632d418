"""The gap between one electrode and one hole: hazards, clearances and the leak at a given tip position.

Evaluating every ring at every spark would be slow, so discharges are drawn by thinning (Lewis & Shedler 1979): a survey
takes an upper bound of every ring's and row's hazard, good as long as the tip has not come nearer by more than a
margin (the work only recedes); candidates are drawn from the bounds and accepted with the exact hazard over the bound.
That is exact, and only the ring that was hit is evaluated.

Places are numbered: floor rings from 0, then wall rows. The tip position is that of the plane of the new electrode
face above the work's face, in um. The gap of a floor ring is measured along the normal of the electrode's face, that
of a wall row likewise, from the electrode's outline at the row's height.
"""

from __future__ import annotations

from bisect import bisect_right
from itertools import accumulate
from math import inf, pi, sqrt
from typing import Final

import numpy as np

from sim.electrode import ElectrodeTruth
from sim.hole import HoleTruth
from sim.ignition import STEPS, Ignition
from sim.settings import PlantSettings
from sim.water import S_PER_UM

# How much nearer the tip may come before the bounds must be taken again. Chosen: a survey then serves several motor
# steps, and most candidates are still accepted.
MARGIN_UM: Final = 8.0
# Height of a bin of the electrode's outline table. Chosen: two bins are what a tip may move between surveys.
OUTLINE_UM: Final = 10.0
# The slope of the electrode at a ring is taken over this many rings to each side. Chosen: about one tool crater.
SLOPE_RINGS: Final = 2
# Bounds of wall rows are taken larger by this: a row grows with its radius until the next survey. Chosen.
WALL_SLACK: Final = 1.01
# A ledge in the outline counts as no flatter than this (sine of its slope). Chosen: ledges wear away.
LEAST_SINE: Final = 0.4
# A gap less than this conducts as if it were this wide (until it is metal contact). Chosen: a ridge.
THINNEST_UM: Final = 1.0
# Iron dissolved by charge: 0.03677 mm³/(A s), Faraday (references section 1), in um³.
FARADAY_UM3_PER_C: Final = 0.03677e9


# The electrode's outline at one height: radius (um), sine of the slope, one over the reach (1/um).
Outline = tuple[float, float, float]


class Gap:
    """Electrode against hole.

    Attributes:
        total_hz: Sum of the bounds at the last survey.
        surveyed_um: Tip position of the last survey.
        clear_um: Tip position at which the first floor ring would touch, mean surface to mean surface, negated.
        conductance_um: Water's area over gap, at the last close look.
    """

    __slots__ = (
        "_across", "_aside", "_bounds", "_etch_share", "_face_um", "_far", "_foot", "_foot_um", "_hazard",
        "_inverse", "_outline", "_peak_um", "_power", "_powers", "_rate", "_ring_inverse", "_scale", "_shake_um",
        "_top", "_worst", "clear_um", "conductance_um", "cosines", "electrode", "hole", "ignition", "surveyed_um",
        "total_hz",
    )  # fmt: skip

    def __init__(self, plant: PlantSettings, ignition: Ignition, electrode: ElectrodeTruth, hole: HoleTruth) -> None:
        self.ignition = ignition
        self.electrode = electrode
        self.hole = hole
        self._etch_share = plant.water.etch_efficiency
        self._far = plant.overcut.side_reach_um * plant.overcut.scale
        self._face_um = plant.ignition.reach_um
        self._powers = (plant.overcut.load_exponent, plant.overcut.turning_load_exponent)
        self._power = 0.0
        self._ring_inverse: list[float] = []
        self._peak_um = 0.0
        self._shake_um = 0.0
        self._scale = 1.0
        self._rate = 0.0
        self._bounds: list[float] = []
        self.total_hz = 0.0
        self.surveyed_um = inf
        self.clear_um = 0.0
        self.conductance_um = 0.0
        self.look(inf, False, 0.0)

    def look(self, tip_um: float, turning: bool, etch_s: float) -> None:
        """Take the electrode's slopes and outline, the debris load and the leak anew; dissolve for `etch_s` at 1 V."""
        self._load(turning)
        self._slopes()
        self._feet(tip_um)
        self._trace()
        self.conductance_um = 0.0 if tip_um == inf else self._conduct(tip_um, etch_s)

    def survey(
        self, tip_um: float, dirt: float, tank_dirt: float, reach: float, peak_um: float, sweep_um: float
    ) -> None:
        """Take the bounds of all hazards.

        Args:
            tip_um: Tip position.
            dirt: Dirt of the gap and the tank together.
            tank_dirt: Dirt of the tank alone.
            reach: The hole's own factor on every reach, with what its debris makes of it.
            peak_um: Height of the ridges on the surfaces now.
            sweep_um: How far the electrode swings sideways.
        """
        ignition = self.ignition
        self.surveyed_um = tip_um
        self._peak_um = peak_um
        self._shake_um = sweep_um
        self._scale = 1.0 / (reach * ignition.dirt_reach(tank_dirt))
        self._rate = ignition.rate_s_um2 * ignition.dirt_rate(dirt)
        bounds = self._floor_bounds(tip_um - MARGIN_UM)
        self._wall_bounds(bounds, tip_um - MARGIN_UM)
        self._bounds = list(accumulate(bounds))
        self.total_hz = self._bounds[-1]
        self.clear_um = self.clearance_um()

    def forget(self, tip_um: float) -> None:
        """The tip is so far away that nothing happens."""
        self.surveyed_um = tip_um
        self.total_hz = 0.0
        self.clear_um = self.clearance_um()

    def clearance_um(self) -> float:
        """Tip position at which the first floor ring would touch, negated; inf with nothing left below."""
        hole = self.hole
        solid, thickness_um = hole.rings.solid, hole.thickness_um
        heights, depths = self.electrode.height_um, hole.depth_um
        if solid:
            heights, depths = heights[solid:], depths[solid:]
        free = [height + depth for height, depth in zip(heights, depths, strict=True) if depth < thickness_um]
        return min(free) if free else inf

    def place(self, uniform: float) -> tuple[int, float]:
        """The place of a candidate, and its bound."""
        bounds = self._bounds
        at = bisect_right(bounds, uniform * self.total_hz)
        if at == len(bounds):  # rounding, once in a very long time
            at -= 1
        return at, bounds[at] - (bounds[at - 1] if at else 0.0)

    def hazard_hz(self, place: int, tip_um: float) -> float:
        """The exact hazard of one place at a tip position; never above its bound."""
        count = self.hole.rings.count
        if place < count:
            return self._floor_hz(place, tip_um)
        return self._wall_hz(place - count, tip_um)

    def summed_hz(self, tip_um: float) -> float:
        """The exact hazards of all places at a tip position, summed."""
        return sum(self.hazard_hz(place, tip_um) for place in range(len(self._bounds)))

    def foot(self, place: int, tip_um: float) -> int:
        """The electrode's ring nearest to a place."""
        rings = self.hole.rings
        if place < rings.count:
            return self._foot[place]
        row = place - rings.count
        radius_um, sine, _ = self._across_at(row, tip_um)
        wall_um = self.hole.wall_um[row]
        at = int((wall_um - (wall_um - radius_um) * sine * sine) / rings.width_um)
        return min(max(at, rings.solid), rings.count - 1)

    def _floor_bounds(self, near_um: float) -> list[float]:
        """A bound for each floor ring: its hazard with the tip nearer by the margin."""
        shape, rate, scale, offset = self.ignition.shape, self._rate, self._scale, self._peak_um
        thickness_um = self.hole.thickness_um
        bounds = []
        for depth, foot_um, aside, inverse, area in zip(
            self.hole.depth_um, self._foot_um, self._aside, self._ring_inverse, self._across, strict=True
        ):
            along_um = near_um + foot_um + depth
            gap_um = sqrt(along_um * along_um + aside) if along_um > 0.0 else 0.0
            x = (gap_um - offset) * inverse * scale
            if x >= 1.0 or depth >= thickness_um:
                bounds.append(0.0)
            else:
                bounds.append(rate * area * shape[int(x * STEPS) if x > 0.0 else 0])
        return bounds

    def _wall_bounds(self, bounds: list[float], near_um: float) -> None:
        hole = self.hole
        row_um = hole.row_um
        rate = WALL_SLACK * self._rate * 2.0 * pi * row_um
        shape, scale = self.ignition.shape, self._scale
        back_um = self._peak_um + self._shake_um
        wall_um = hole.wall_um
        table, last = self._worst, len(self._worst) - 1
        # Height of the row's middle above the electrode's reference plane, in bins of the outline.
        at = (-0.5 * row_um - near_um - self._top) / OUTLINE_UM
        step = row_um / OUTLINE_UM
        for row in range(hole.exposed):
            if at < 0.0:
                break
            radius_um, sine, inverse = table[int(at)] if at < last else table[last]
            wall = wall_um[row]
            # The tip nearer by the margin: the bound holds at every position between.
            x = ((wall - radius_um) * sine - back_um) * inverse * scale
            if x >= 1.0:
                bounds.append(0.0)
            else:
                bounds.append(rate * wall * (shape[int(x * STEPS)] if x > 0.0 else shape[0]))
            at -= step

    def _floor_hz(self, ring: int, tip_um: float) -> float:
        depth = self.hole.depth_um[ring]
        along_um = tip_um + self._foot_um[ring] + depth
        gap_um = sqrt(along_um * along_um + self._aside[ring]) if along_um > 0.0 else 0.0
        x = (gap_um - self._peak_um) * self._ring_inverse[ring] * self._scale
        if x >= 1.0 or depth >= self.hole.thickness_um:
            return 0.0
        return self._rate * self._across[ring] * self.ignition.shape[int(x * STEPS) if x > 0.0 else 0]

    def _wall_hz(self, row: int, tip_um: float) -> float:
        radius_um, sine, inverse = self._across_at(row, tip_um)
        if inverse == inf:
            return 0.0
        wall_um = self.hole.wall_um[row]
        x = ((wall_um - radius_um) * sine - self._peak_um - self._shake_um) * inverse * self._scale
        if x >= 1.0:
            return 0.0
        shape = self.ignition.shape
        area_um2 = 2.0 * pi * wall_um * self.hole.row_um
        return self._rate * area_um2 * (shape[int(x * STEPS)] if x > 0.0 else shape[0])

    def _across_at(self, row: int, tip_um: float) -> tuple[float, float, float]:
        """The electrode's outline at a row: its radius there, the sine of its slope, one over the reach."""
        at = (-(row + 0.5) * self.hole.row_um - tip_um - self._top) / OUTLINE_UM
        if at < 0.0:
            return self.hole.rings.radius_um, 1.0, inf
        outline = self._outline
        return outline[int(at)] if at < len(outline) else outline[-1]

    def _load(self, turning: bool) -> None:
        """The reach at each ring, by the debris that passes there."""
        power = self._powers[turning]
        if power == self._power:
            return
        self._power = power
        count = self.hole.rings.count
        spread_um = self._far - self._face_um
        self._ring_inverse = [1.0 / (self._face_um + spread_um * ((j + 0.5) / count) ** power) for j in range(count)]

    def _slopes(self) -> None:
        """The electrode's slope at each ring, over a few rings, and the face's true area by it."""
        rings, height = self.hole.rings, self.electrode.height_um
        lower, last = rings.solid, rings.count - 1
        self.cosines = []
        for ring in range(rings.count):
            inner, outer = max(ring - SLOPE_RINGS, lower), max(min(ring + SLOPE_RINGS, last), lower)
            tilt = (height[outer] - height[inner]) / (rings.width_um * max(outer - inner, 1))
            self.cosines.append(1.0 / sqrt(1.0 + tilt * tilt))
        self._across = [area / cosine for area, cosine in zip(rings.area_um2, self.cosines, strict=True)]

    def _feet(self, tip_um: float) -> None:
        """For each floor ring the nearest point of the electrode's face: how far aside, how high, on which ring."""
        rings = self.hole.rings
        solid, last = rings.solid, rings.count - 1
        radius = (np.arange(rings.count) + 0.5) * rings.width_um
        height = np.array(self.electrode.height_um) + (0.0 if tip_um == inf else tip_um)
        from_r, from_z = radius[solid:last], height[solid:last]
        along_r, along_z = rings.width_um, height[solid + 1 :] - from_z
        out_r = radius[:, None] - from_r
        out_z = -np.array(self.hole.depth_um)[:, None] - from_z
        share = np.clip((out_r * along_r + out_z * along_z) / (along_r**2 + along_z**2), 0.0, 1.0)
        aside, above = out_r - share * along_r, out_z - share * along_z
        nearest = np.argmin(aside**2 + above**2, axis=1)
        every = np.arange(rings.count)
        at = share[every, nearest]
        self._aside = (aside[every, nearest] ** 2).tolist()
        self._foot_um = (from_z[nearest] + at * along_z[nearest] - (0.0 if tip_um == inf else tip_um)).tolist()
        self._foot: list[int] = (nearest + solid + (at > 0.5)).tolist()

    def _trace(self) -> None:
        """The electrode's outer outline: for each height bin its radius, the sine of its slope, one over the reach."""
        rings = self.hole.rings
        height = np.array(self.electrode.height_um[rings.solid :])
        outer = np.minimum.accumulate(height[::-1])[::-1]  # lowest from here outward: what the wall sees
        self._top = float(outer[0])
        at_um = np.arange(self._top, outer[-1], OUTLINE_UM)
        ring = np.searchsorted(outer, at_um, side="right") - 1
        rise = outer[np.minimum(ring + 1, len(outer) - 1)] - outer[ring]
        share = np.clip((at_um - outer[ring]) / np.maximum(rise, 1e-9), 0.0, 1.0)
        radius_um = (ring + rings.solid + 0.5 + share) * rings.width_um
        face_um = self._face_um
        reach_um = face_um + (self._far - face_um) * (radius_um / rings.radius_um) ** self._power
        cosine = np.array(self.cosines[rings.solid :])[ring]
        sine = np.maximum(np.sqrt(1.0 - cosine * cosine), LEAST_SINE)
        self._outline = list(zip(radius_um.tolist(), sine.tolist(), (1.0 / reach_um).tolist(), strict=True))
        self._outline.append((rings.radius_um, 1.0, 1.0 / self._far))
        self._worst = self._worst_of(self._outline)

    @staticmethod
    def _worst_of(outline: list[Outline]) -> list[Outline]:
        """For bounds: what a row may meet while the tip stands between the margin below and two bins above that."""
        padded = outline[:1] * 2 + outline
        trios = zip(padded, padded[1:], outline, strict=False)
        return [(here[0], min(a[1], b[1], here[1]), min(a[2], b[2], here[2])) for a, b, here in trios]

    def _conduct(self, tip_um: float, etch_s: float) -> float:
        """Conductance for 1 S/um of water times area over gap; what a charge dissolves is shared out likewise."""
        hole, rings = self.hole, self.hole.rings
        depth, thickness_um = hole.depth_um, hole.thickness_um
        eaten = etch_s * self._etch_share * FARADAY_UM3_PER_C
        total = 0.0
        for j in range(rings.solid, rings.count):
            along_um = max(tip_um + self._foot_um[j] + depth[j], THINNEST_UM)
            gap_um = sqrt(along_um * along_um + self._aside[j])
            if depth[j] < thickness_um:
                total += self._across[j] / gap_um
                if eaten:
                    lost = min(eaten * self._across[j] / gap_um / rings.area_um2[j], thickness_um - depth[j])
                    depth[j] += lost
                    hole.removed_um3 += lost * rings.area_um2[j]
        for row in range(hole.exposed if hole.depth_um[-1] > 0.0 else 0):
            radius_um, sine, inverse = self._across_at(row, tip_um)
            if inverse != inf:
                wall_um = hole.wall_um[row]
                conduct = 2.0 * pi * wall_um * hole.row_um / max((wall_um - radius_um) * sine, 5.0 * THINNEST_UM)
                total += conduct
                if eaten:
                    hole.widen(row, eaten * conduct)
                    hole.removed_um3 += eaten * conduct
        if eaten and min(depth) >= thickness_um:
            hole.through = True
        return total


def siemens(conductance_um: float, conductivity_us_cm: float) -> float:
    """Conductance of water of a conductivity across an area over a gap (um² / um)."""
    return conductance_um * conductivity_us_cm * S_PER_UM
