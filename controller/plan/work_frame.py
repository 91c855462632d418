"""The work frame from what was located: which place on the machine is the job's zero, and how well that is known.

A corner gives everything. Two bores or bosses give it, too, over their distance; one of them needs an edge for the
rotation. What was located later counts before what was located earlier; between several middles the frame is the one
that fits them best.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from controller.plan.frame import Frame
from controller.settings.job import Point
from controller.settings.machine import WorkPlace
from controller.settings.units import MM_PER_M

# Referencing again between locating and drilling moves both axes' zero: a micro-switch repeats to some micrometres
# (common practice, no source).
HOMING_U_MM: Final = 0.004
# What a few touches can't show of a thin plate: as `core.surface`.
UNSEEN_BOW_MM: Final = 0.1
# Two middles nearer to each other than this say too little of the rotation. Chosen.
APART_MM: Final = 10.0
# Drawn and found distance of two middles may differ by this many standard uncertainties before it is told. Chosen.
ODD: Final = 3.0


@dataclass(slots=True, frozen=True)
class Feature:
    """One thing located on a plate (k = 1 uncertainties).

    Attributes:
        kind: `corner`, `edge`, `bore`, `boss` or `plane`.
        at_mm: Where the drawing has it (job frame).
        along: For an edge: 0 when it runs along the job's x, 1 along its y.
        x_mm, y_mm: Where it is, seen from above (machine frame).
        u_mm: Standard uncertainties of both.
        angle_deg, u_angle_deg: Direction of the edge, or of the corner's first one, seen from above.
        face: (x, y, z) of a place on the face, u_z, and the slope over x and y.
    """

    kind: str
    at_mm: Point
    along: int
    x_mm: float
    y_mm: float
    u_mm: Point
    angle_deg: float
    u_angle_deg: float
    face_mm: tuple[float, float, float]
    u_face_mm: float
    slope: Point


@dataclass(slots=True, frozen=True)
class WorkFrame:
    """Where a job lies, located.

    Attributes:
        frame: Origin, rotation and slope.
        height_mm, u_height_mm: Height of the face at the job's zero, and its standard uncertainty.
        about_mm: The place (job frame) about which position and rotation are independent.
        u_mm: Standard uncertainties of the position there, machine x and y.
        u_turn_rad: Standard uncertainty of the rotation.
        source: What it rests on, in words.
        misfit_mm: Largest distance of a located middle from where the frame has it; 0 where nothing is left over.
    """

    frame: Frame
    height_mm: float
    u_height_mm: float
    about_mm: Point
    u_mm: Point
    u_turn_rad: float
    source: str
    misfit_mm: float = 0.0

    def u_at_mm(self, point: Point) -> float:
        """Standard uncertainty of a place of the job, in the worse direction, referencing anew included."""
        far = math.dist(point, self.about_mm) * self.u_turn_rad
        return math.hypot(max(self.u_mm), far, HOMING_U_MM)

    def work_place(self, believed: WorkPlace) -> WorkPlace:
        """The machine file's work place as it was located."""
        return believed.model_copy(
            update={
                "origin_mm": self.frame.origin_mm,
                "rotation_deg": self.frame.rotation_deg,
                "slope_mm_m": (self.frame.slope[0] * MM_PER_M, self.frame.slope[1] * MM_PER_M),
                "surface_height_mm": self.height_mm,
                "surface_height_u_mm": math.hypot(self.u_height_mm, UNSEEN_BOW_MM),
            }
        )


def frame_from(features: Sequence[Feature]) -> WorkFrame | str:
    """The frame from what was located, oldest first; or, in words, what is still missing."""
    corners = [each for each in features if each.kind == "corner"]
    middles = list({each.at_mm: each for each in features if each.kind in ("bore", "boss")}.values())
    edges = [each for each in features if each.kind == "edge"]
    if corners and not any(each in middles for each in features[features.index(corners[-1]) :]):
        return _by_corner(corners[-1])
    if len(middles) >= 2:
        return _by_middles(middles)
    if middles and edges:
        return _by_middle_and_edge(middles[-1], edges[-1])
    if corners:
        return _by_corner(corners[-1])
    found = ", ".join(sorted({each.kind for each in features})) or "nothing"
    return f"{found} located, which gives no frame: locate a corner, or two bores or bosses, or one of them and an edge"


def _by_corner(corner: Feature) -> WorkFrame:
    return _placed(
        corner, corner.angle_deg, corner.at_mm, (corner.x_mm, corner.y_mm), corner.u_mm, corner.u_angle_deg, "a corner"
    )


def _by_middle_and_edge(middle: Feature, edge: Feature) -> WorkFrame:
    angle = edge.angle_deg if edge.along == 0 else _across(edge.angle_deg, middle.slope)
    place = (middle.x_mm, middle.y_mm)
    words = f"a {middle.kind} and an edge"
    return _placed(middle, angle, middle.at_mm, place, middle.u_mm, edge.u_angle_deg, words)


def _by_middles(middles: Sequence[Feature]) -> WorkFrame | str:
    """Rotation and origin that fit all middles best, on the face; equal weights."""
    last = middles[-1]
    flat = Frame((0.0, 0.0), 0.0, last.slope)
    found = [flat.to_job((each.x_mm, each.y_mm)) for each in middles]
    drawn = [each.at_mm for each in middles]
    n = len(middles)
    fx, fy = sum(x for x, _ in found) / n, sum(y for _, y in found) / n
    dx, dy = sum(x for x, _ in drawn) / n, sum(y for _, y in drawn) / n
    arm_2 = sum((x - dx) ** 2 + (y - dy) ** 2 for x, y in drawn)
    if max(math.dist(p, q) for p in drawn for q in drawn) < APART_MM:
        return f"the {n} middles located stand within {APART_MM:g} mm: locate one further away"
    pairs = list(zip(found, drawn, strict=True))
    sine = sum((v[0] - dx) * (w[1] - fy) - (v[1] - dy) * (w[0] - fx) for w, v in pairs)
    cosine = sum((v[0] - dx) * (w[0] - fx) + (v[1] - dy) * (w[1] - fy) for w, v in pairs)
    turn = math.atan2(sine, cosine)
    u_x, u_y = (math.sqrt(sum(each.u_mm[axis] ** 2 for each in middles)) / n for axis in (0, 1))
    u_turn = math.sqrt(sum(max(each.u_mm) ** 2 for each in middles) / n / arm_2)
    # The turn on the face becomes a direction on the table.
    c, s = math.cos(turn), math.sin(turn)
    ahead = flat.to_machine((c, s))
    angle = math.degrees(math.atan2(ahead[1], ahead[0]))
    kinds = f"{n} {last.kind if len({each.kind for each in middles}) == 1 else 'middle'}s"
    work = _placed(last, angle, (dx, dy), flat.to_machine((fx, fy)), (u_x, u_y), math.degrees(u_turn), kinds)
    misfit = max(math.dist(work.frame.to_machine(each.at_mm), (each.x_mm, each.y_mm)) for each in middles)
    return WorkFrame(
        work.frame, work.height_mm, work.u_height_mm, work.about_mm, work.u_mm, work.u_turn_rad, work.source, misfit
    )


def _across(angle_deg: float, slope: Point) -> float:
    """Direction of the job's x on the table when its y runs along an edge."""
    low = Frame((0.0, 0.0), angle_deg - 90.0, slope)
    x, y = low.to_machine((0.0, 1.0))
    # Square on the face is not square on the table: turn by what is missing.
    return angle_deg - 90.0 - (math.degrees(math.atan2(y, x)) - angle_deg + 180.0) % 360.0 + 180.0


def _placed(
    feature: Feature, angle_deg: float, at: Point, place: Point, u: Point, u_angle_deg: float, source: str
) -> WorkFrame:
    """The frame with `at` of the job standing at `place` of the machine."""
    turned = Frame((0.0, 0.0), angle_deg, feature.slope)
    x, y = turned.to_machine(at)
    frame = Frame((place[0] - x, place[1] - y), angle_deg, feature.slope)
    face_x, face_y, face_z = feature.face_mm
    rise = feature.slope[0] * (frame.origin_mm[0] - face_x) + feature.slope[1] * (frame.origin_mm[1] - face_y)
    return WorkFrame(frame, face_z + rise, feature.u_face_mm, at, u, math.radians(u_angle_deg), source)
