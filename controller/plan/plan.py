"""A plan: where every hole is in the machine frame, in the order in which they are drilled."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True, frozen=True)
class PlannedHole:
    """One hole: its number (1-based, in the order of the job's patterns) and its place in the machine frame."""

    index: int
    x_mm: float
    y_mm: float


@dataclass(slots=True, frozen=True)
class Plan:
    """Holes in drilling order and the points where the work's face is touched, both in the machine frame."""

    holes: tuple[PlannedHole, ...]
    touch_points_mm: tuple[tuple[float, float], ...]
