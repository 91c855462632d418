"""The work frame: where the job's coordinates lie in the machine."""

from __future__ import annotations

import math
from dataclasses import dataclass

from controller.settings.job import Point
from controller.settings.machine import WorkPlace


@dataclass(slots=True, frozen=True)
class Frame:
    """The job's origin in the machine frame (mm) and its rotation, anticlockwise seen from above."""

    origin_mm: Point
    rotation_deg: float

    @classmethod
    def of(cls, place: WorkPlace) -> Frame:
        """The frame that a machine file states."""
        return cls(place.origin_mm, place.rotation_deg)

    def to_machine(self, point: Point) -> Point:
        """A point of the job, in the machine frame."""
        cosine, sine = self._turn()
        x, y = point
        return (self.origin_mm[0] + cosine * x - sine * y, self.origin_mm[1] + sine * x + cosine * y)

    def to_job(self, point: Point) -> Point:
        """A point of the machine, in the job's frame."""
        cosine, sine = self._turn()
        x, y = point[0] - self.origin_mm[0], point[1] - self.origin_mm[1]
        return (cosine * x + sine * y, cosine * y - sine * x)

    def _turn(self) -> Point:
        angle = math.radians(self.rotation_deg)
        return (math.cos(angle), math.sin(angle))
