"""Rules between the keys of a settings file, each on its own.

A rule is checked whenever the keys it needs are sound by themselves, so one mistake elsewhere in the file never hides
another; a key that broke one rule is not used for the rules after it, so one mistake gets one message. Every
`broken_…` function returns the remedy in plain words, or None when all is well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from controller.settings.calibration import Calibration
from controller.settings.job import Job
from controller.settings.machine import ACK_BURST_STEPS, Machine, Pins
from controller.settings.problem import quoted, wrote
from controller.settings.technology import Technology
from controller.settings.units import UM_PER_MM

COARSEST_MOVE_UM = 10.0
"""The coarsest feed move that is of use: the finest gap is 10 µm (references.md §3; wires.md for `ack` boards)."""

FLATTEST_TRIANGLE = 0.05
"""Least height over longest side of the triangle of touch points. Chosen so that a plane's tilt across the thin
direction is known within 20 times a touch's own spread."""


@dataclass(slots=True, frozen=True)
class Rule:
    """A relation between keys; the first key is the one that is complained about."""

    keys: tuple[str, ...]
    broken: Callable[..., str | None]


def broken_order(low_name: str) -> Callable[[float, float], str | None]:
    """A check that the high figure stands above the one called `low_name`."""

    def broken(high: float, low: float) -> str | None:
        return None if high > low else f"must be more than {low_name} ({low:g}); you wrote {high:g}"

    return broken


def broken_travel(highest: Sequence[float], lowest: Sequence[float]) -> str | None:
    """Every axis needs somewhere to go."""
    for axis, high, low in zip("xyz", highest, lowest, strict=True):
        if high <= low:
            return f"must be more than travel_min_mm on every axis; on {axis} you wrote {high:g}, against {low:g}"
    return None


def broken_feed_step(steps_per_mm: Sequence[float], convention: str) -> str | None:
    """The smallest useful feed move may not be coarser than the finest gap; `ack` boards need bursts of 3 × 6 steps."""
    steps = ACK_BURST_STEPS if convention == "ack" else 1
    move_um = steps * UM_PER_MM / steps_per_mm[2]
    if move_um <= COARSEST_MOVE_UM:
        return None
    needed = steps * UM_PER_MM / COARSEST_MOVE_UM
    finer = 2 ** math.ceil(math.log2(needed / steps_per_mm[2]))
    smallest = "the smallest burst of an ack board, 3 × 6 steps," if steps > 1 else "one step"
    return (
        f"{smallest} is {move_um:g} µm on the feed axis, more than {COARSEST_MOVE_UM:g} µm; z needs at least "
        f"{needed:g} steps/mm: set micro-stepping {finer} times finer ({steps_per_mm[2] * finer:g} steps/mm)"
        f"{wrote(list(steps_per_mm))}"
    )


def broken_home(home_mm: Sequence[float], lowest: Sequence[float], highest: Sequence[float]) -> str | None:
    """After homing the axes stand inside their travel."""
    for axis, at, low, high in zip("xyz", home_mm, lowest, highest, strict=True):
        if not low <= at <= high:
            return f"must lie inside the travel on every axis; on {axis} you wrote {at:g}, outside {low:g} to {high:g}"
    return None


def broken_pin(pin: int) -> str | None:
    """Serial pins carry the link, and a bootloader toggles the board's own lamp (electrics.md)."""
    taken = {0: "a serial pin", 1: "a serial pin", 13: "the board's lamp"}.get(pin)
    return f"must not be {taken}, which the board toggles by itself; you wrote {pin}" if taken else None


def broken_shared_pin(pin: int, *others: int) -> str | None:
    """One thing, one pin."""
    return f"must be a pin of its own; {pin} is in use above" if pin in others else None


def broken_plate_x(x_mm: float, lowest: Sequence[float], highest: Sequence[float]) -> str | None:
    """The reference plate must be reachable along x."""
    return _outside(x_mm, lowest[0], highest[0], "x")


def broken_plate_y(y_mm: float, lowest: Sequence[float], highest: Sequence[float]) -> str | None:
    """The reference plate must be reachable along y."""
    return _outside(y_mm, lowest[1], highest[1], "y")


def _outside(place_mm: float, low: float, high: float, axis: str) -> str | None:
    if low <= place_mm <= high:
        return None
    return f"must lie inside the travel on {axis}, {low:g} to {high:g}; you wrote {place_mm:g}"


def broken_z_travel(
    lowest: Sequence[float], highest: Sequence[float], protrusion_mm: float, min_protrusion_mm: float, clear_mm: float
) -> str | None:
    """One height must be reachable with the shortest electrode and be cleared with the longest."""
    low, high = lowest[2] - min_protrusion_mm, highest[2] - protrusion_mm - clear_mm
    if low <= high:
        return None
    return (
        f"must lie at least {protrusion_mm + clear_mm - min_protrusion_mm:g} mm below travel_max_mm on z: no face "
        f"could be both reached with holder.min_protrusion_mm ({min_protrusion_mm:g}) and cleared by "
        f"work_place.clear_height_mm ({clear_mm:g}) with holder.protrusion_mm ({protrusion_mm:g}); "
        f"you wrote {lowest[2]:g}"
    )


def broken_reach(
    height_mm: float,
    lowest: Sequence[float],
    highest: Sequence[float],
    protrusion_mm: float,
    min_protrusion_mm: float,
    clear_mm: float,
) -> str | None:
    """The tip must reach the face with the shortest electrode and clear it with the longest."""
    low, high = lowest[2] - min_protrusion_mm, highest[2] - protrusion_mm - clear_mm
    if low <= height_mm <= high:
        return None
    return (
        f"must be between {low:g} (reached with holder.min_protrusion_mm) and {high:g} (cleared with "
        f"holder.protrusion_mm); you wrote {height_mm:g}"
    )


def broken_rev_min(rev_min: float, top_rev_min: float) -> str | None:
    """A spindle turns no faster than it can."""
    return None if rev_min <= top_rev_min else f"must be at most top_rev_min ({top_rev_min:g}); you wrote {rev_min:g}"


def broken_bore(bore_mm: float, form: str, diameter_mm: float) -> str | None:
    """A tube has a bore smaller than itself; a rod has none."""
    if form == "rod":
        return None if bore_mm == 0 else f'a rod has no bore: leave it out, or set form = "tube"; you wrote {bore_mm:g}'
    if 0 < bore_mm < diameter_mm:
        return None
    return f"a tube needs a bore of more than 0 and less than diameter_mm ({diameter_mm:g}); you wrote {bore_mm:g}"


def broken_tolerance(tolerance_mm: float, diameter_mm: float) -> str | None:
    """A tolerance is a small part of the size."""
    if tolerance_mm < diameter_mm / 2:
        return None
    return f"must be less than half of holes.diameter_mm ({diameter_mm:g}); you wrote {tolerance_mm:g}"


def broken_hole_size(hole_mm: float, electrode_mm: float) -> str | None:
    """A hole is the electrode plus an overcut on each side."""
    if hole_mm > electrode_mm:
        return None
    return (
        f"must be more than electrode.diameter_mm ({electrode_mm:g}): a hole is the electrode plus an overcut on each "
        f"side; you wrote {hole_mm:g}"
    )


def broken_through(through: bool) -> str | None:
    """A blind hole would need a depth, which a job can't state."""
    return None if through else "must be true: a job states no depth, so every hole goes through; you wrote false"


def broken_touch_points(points: Sequence[Sequence[float]]) -> str | None:
    """Three touches make a plane only when they don't stand in one line."""
    longest = max(math.dist(p, q) for p in points for q in points)
    height = max((_height(p, q, r) for p in points for q in points for r in points), default=0.0)
    if longest > 0 and height >= FLATTEST_TRIANGLE * longest:
        return None
    return f"must not stand in one line: they carry the plane of the work's face{wrote([list(p) for p in points])}"


def _height(p: Sequence[float], q: Sequence[float], r: Sequence[float]) -> float:
    """Distance of r from the line through p and q (0 when these fall together)."""
    base = math.dist(p, q)
    cross = (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
    return abs(cross) / base if base else 0.0


def broken_spread(u: float, guess: float) -> str | None:
    """A guess whose spread is as large as itself says nothing."""
    return None if u < guess else f"must be less than guess ({guess:g}); you wrote {u:g}"


_PINS = tuple(f"sampler.pins.{name}" for name in Pins.model_fields if name != "gap_channel")

_REACH = (
    "axes.travel_min_mm",
    "axes.travel_max_mm",
    "holder.protrusion_mm",
    "holder.min_protrusion_mm",
    "work_place.clear_height_mm",
)

MACHINE_RULES = (
    Rule(("axes.steps_per_mm", "motion.convention"), broken_feed_step),
    Rule(("axes.travel_max_mm", "axes.travel_min_mm"), broken_travel),
    Rule(("axes.home_mm", "axes.travel_min_mm", "axes.travel_max_mm"), broken_home),
    Rule(("spindle.rev_min", "spindle.top_rev_min"), broken_rev_min),
    *(Rule((pin,), broken_pin) for pin in _PINS),
    *(Rule((pin, *_PINS[:place]), broken_shared_pin) for place, pin in enumerate(_PINS)),
    Rule(("holder.protrusion_mm", "holder.min_protrusion_mm"), broken_order("min_protrusion_mm")),
    Rule(_REACH, broken_z_travel),
    Rule(("drop_outs.longest_s", "drop_outs.median_s"), broken_order("median_s")),
    Rule(("reference_plate.x_mm", "axes.travel_min_mm", "axes.travel_max_mm"), broken_plate_x),
    Rule(("reference_plate.y_mm", "axes.travel_min_mm", "axes.travel_max_mm"), broken_plate_y),
    Rule(("reference_plate.height_mm", *_REACH), broken_reach),
    Rule(("work_place.surface_height_mm", *_REACH), broken_reach),
)

JOB_RULES = (
    Rule(("work.touch_points_mm",), broken_touch_points),
    Rule(("electrode.bore_mm", "electrode.form", "electrode.diameter_mm"), broken_bore),
    Rule(("electrode.length_mm", "electrode.min_length_mm"), broken_order("min_length_mm")),
    Rule(("holes.tolerance_mm", "holes.diameter_mm"), broken_tolerance),
    Rule(("holes.diameter_mm", "electrode.diameter_mm"), broken_hole_size),
    Rule(("holes.through",), broken_through),
)

TECHNOLOGY_RULES = tuple(
    Rule((f"{figure}.u", f"{figure}.guess"), broken_spread)
    for figure in ("overcut_mm", "removal_mm3_s", "volumetric_wear", "cone_diameters")
)

CALIBRATION_RULES = (Rule(("drop_outs.longest_s", "drop_outs.median_s"), broken_order("median_s")),)

RULES: dict[type, tuple[Rule, ...]] = {
    Machine: MACHINE_RULES,
    Job: JOB_RULES,
    Technology: TECHNOLOGY_RULES,
    Calibration: CALIBRATION_RULES,
}


def unfit_pair(work: str | None, electrode: str | None, technology: Technology) -> list[tuple[str, str]]:
    """The materials of a job (None: not known) that the technology is not for, as (key, remedy)."""
    misfits: list[tuple[str, str]] = []
    pair = technology.pair
    if work is not None and work.casefold() not in {known.casefold() for known in pair.work}:
        made_for = " or ".join(quoted(known) for known in pair.work)
        misfits.append(("work.material", f'technology "{pair.name}" is for {made_for}{wrote(work)}'))
    if electrode is not None and electrode.casefold() != pair.electrode.casefold():
        made_for = quoted(pair.electrode)
        misfits.append(("electrode.material", f'technology "{pair.name}" is for {made_for}{wrote(electrode)}'))
    return misfits
