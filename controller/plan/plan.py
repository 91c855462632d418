"""A plan: where every hole is in the machine frame, in the order in which they are drilled."""

from __future__ import annotations

from dataclasses import dataclass

from controller.plan.keep_outs import Obstacle, Ways


@dataclass(slots=True, frozen=True)
class PlannedHole:
    """One hole: its number (1-based, in the order of the job's patterns) and its place in the machine frame."""

    index: int
    x_mm: float
    y_mm: float


@dataclass(slots=True, frozen=True)
class Travel:
    """How far the table goes from hole to hole, from the reference plate on.

    Attributes:
        length_mm: In the order planned, around or over keep-outs; lifts count as far as the table goes meanwhile.
        row_by_row_mm: In the order in which the job lists its holes.
        least_mm: What no order could be shorter than.
        crowded: Holes drilled nearer to the one before than `holes.apart_mm` asks for.
    """

    length_mm: float
    row_by_row_mm: float
    least_mm: float
    crowded: int = 0

    @property
    def gain(self) -> float:
        """Share of the row-by-row way that is saved, 0..1."""
        return 1.0 - self.length_mm / self.row_by_row_mm if self.row_by_row_mm > 0.0 else 0.0


@dataclass(slots=True, frozen=True)
class Plan:
    """Holes in drilling order and the points where the work's face is touched, both in the machine frame.

    `standing` is what stands on table and work, as it stands; `ways` leads around it.
    """

    holes: tuple[PlannedHole, ...]
    touch_points_mm: tuple[tuple[float, float], ...]
    travel: Travel = Travel(0.0, 0.0, 0.0)
    standing: tuple[Obstacle, ...] = ()
    ways: Ways | None = None
    notes: tuple[str, ...] = ()
