"""The work frame: where the job's coordinates lie in the machine, on a plate that may be turned and tilted.

Holes are drawn on the plate's face, the table moves level. On a plate tilted by 3° a hole drawn 100 mm away stands
0.14 mm nearer on the table, so the frame carries the slope of the face: the job's x axis lies in the face along the
rotation, its y axis in the face at right angles to that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from controller.settings.job import Point
from controller.settings.machine import WorkPlace
from controller.settings.units import MM_PER_M


@dataclass(slots=True, frozen=True)
class Frame:
    """The job's origin in the machine frame (mm), its rotation, anticlockwise seen from above, and the face's slope.

    `slope` is the rise of the face over the machine's x and y, mm per mm.
    """

    origin_mm: Point
    rotation_deg: float
    slope: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def of(cls, place: WorkPlace) -> Frame:
        """The frame that a machine file states, or that was located."""
        rise_x, rise_y = place.slope_mm_m
        return cls(place.origin_mm, place.rotation_deg, (rise_x / MM_PER_M, rise_y / MM_PER_M))

    def to_machine(self, point: Point) -> Point:
        """A point of the job, in the machine frame."""
        (ax, ay), (bx, by) = self._axes()
        x, y = point
        return (self.origin_mm[0] + ax * x + bx * y, self.origin_mm[1] + ay * x + by * y)

    def to_job(self, point: Point) -> Point:
        """A point of the machine, in the job's frame."""
        (ax, ay), (bx, by) = self._axes()
        x, y = point[0] - self.origin_mm[0], point[1] - self.origin_mm[1]
        determinant = ax * by - bx * ay
        return ((by * x - bx * y) / determinant, (ax * y - ay * x) / determinant)

    def rise_mm(self, point: Point) -> float:
        """How much higher the face is at a point of the job than at its origin."""
        x, y = self.to_machine(point)
        return self.slope[0] * (x - self.origin_mm[0]) + self.slope[1] * (y - self.origin_mm[1])

    def _axes(self) -> tuple[Point, Point]:
        """The job's two unit vectors as the table sees them: x in the face along the rotation, y = normal times x."""
        angle = math.radians(self.rotation_deg)
        c, s = math.cos(angle), math.sin(angle)
        rise_x, rise_y = self.slope
        rise = rise_x * c + rise_y * s
        long = math.sqrt(1.0 + rise * rise)
        ux, uy, uz = c / long, s / long, rise / long
        up = math.sqrt(1.0 + rise_x * rise_x + rise_y * rise_y)
        nx, ny, nz = -rise_x / up, -rise_y / up, 1.0 / up
        return (ux, uy), (ny * uz - nz * uy, nz * ux - nx * uz)


def frame_height_mm(place: WorkPlace, x_mm: float, y_mm: float) -> float:
    """Height at which the face is believed at a place of the machine."""
    rise_x, rise_y = place.slope_mm_m
    rise = rise_x * (x_mm - place.origin_mm[0]) + rise_y * (y_mm - place.origin_mm[1])
    return place.surface_height_mm + rise / MM_PER_M
