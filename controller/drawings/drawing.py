"""What a drawing says of holes, whatever it was written as; and what in it was not understood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.settings.job import Point

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4, "µm": 0.001}
"""Millimetres in a drawing's unit; the inch is 25.4 mm exactly (ISO 80000-3)."""


class DrawingError(Exception):
    """A drawing can't be read. `problems` holds a sentence for each reason, remedy included."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


@dataclass(slots=True, frozen=True)
class DrawnHole:
    """One hole as drawn: its centre, its diameter if the drawing says one (mm), and where it stands in the file."""

    x_mm: float
    y_mm: float
    diameter_mm: float | None
    where: str

    @property
    def place_mm(self) -> Point:
        """The centre."""
        return (self.x_mm, self.y_mm)


@dataclass(slots=True, frozen=True)
class Drawing:
    """The holes of a drawing in its own order.

    Attributes:
        holes: Every hole found.
        took: What was read and how, in sentences.
        left: What stands in the file and was not used, in sentences.
        touch_points_mm: Places marked for touching the face; usually none.
        outline_mm: Corners of the plate in order, where they were asked for.
    """

    holes: tuple[DrawnHole, ...]
    took: tuple[str, ...]
    left: tuple[str, ...]
    touch_points_mm: tuple[Point, ...] = ()
    outline_mm: tuple[Point, ...] = ()
