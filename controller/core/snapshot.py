"""What a screen needs to know, as one immutable picture of the core."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True, frozen=True)
class Snapshot:
    """The core at one tick; lengths in mm, time in s, probabilities 0..1."""

    time_s: float
    phase: str
    doing: str
    hole: int
    holes_done: int
    holes_total: int
    feed_mm: float
    p_open: float
    p_sparking: float
    p_shorted: float
    p_off: float
    sparks_per_s: float
    reference: float
    tip_length_mm: float
    tip_length_u_mm: float
    cone_mm: float
    stock_mm: float
