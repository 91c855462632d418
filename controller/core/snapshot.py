"""What a screen needs to know, as one immutable picture of the core."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True, frozen=True)
class Snapshot:
    """The core at one tick; lengths in mm, time in s, probabilities 0..1.

    `pierce_mm` and `full_mm` are the feeds at which the tip should come out of the far face, and at which the full
    diameter should have passed at the earliest; `measure_in` is in how many holes the electrode will be measured next;
    `wishes` are what was asked for and waits for a safe moment (`hold`, `measure`, `skip`).
    """

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
    pierce_mm: float = 0.0
    full_mm: float = 0.0
    measure_in: int = 0
    wishes: tuple[str, ...] = ()
