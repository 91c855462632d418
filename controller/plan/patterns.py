"""Hole patterns: from the tables of a job to places in the job's own frame."""

from __future__ import annotations

import math

from controller.settings.job import Circle, Holes, Pattern, Point, Points, Rectangular, Staggered

ROW_SPACING = math.sqrt(3.0) / 2.0
"""Distance of staggered rows over the pitch: every neighbour stands one pitch away, at 60° (geometry)."""


def places(holes: Holes) -> list[Point]:
    """Every hole's place in mm, job frame, in the order of the patterns, row by row."""
    return [place for pattern in holes.pattern for place in _places_of(pattern)]


def _places_of(pattern: Pattern) -> list[Point]:
    match pattern:
        case Rectangular():
            return _rectangular(pattern)
        case Staggered():
            return _staggered(pattern)
        case Circle():
            return _circle(pattern)
        case Points():
            return list(pattern.at_mm)


def _rectangular(pattern: Rectangular) -> list[Point]:
    x, y = pattern.origin_mm
    across, along = pattern.pitch_mm if isinstance(pattern.pitch_mm, tuple) else (pattern.pitch_mm, pattern.pitch_mm)
    return [(x + column * across, y + row * along) for row in range(pattern.rows) for column in range(pattern.columns)]


def _staggered(pattern: Staggered) -> list[Point]:
    x, y = pattern.origin_mm
    pitch = pattern.pitch_mm
    return [
        (x + (column + row % 2 / 2.0) * pitch, y + row * ROW_SPACING * pitch)
        for row in range(pattern.rows)
        for column in range(pattern.columns)
    ]


def _circle(pattern: Circle) -> list[Point]:
    x, y = pattern.centre_mm
    angles = [math.radians(pattern.start_deg) + math.tau * turn / pattern.count for turn in range(pattern.count)]
    return [(x + pattern.radius_mm * math.cos(angle), y + pattern.radius_mm * math.sin(angle)) for angle in angles]
