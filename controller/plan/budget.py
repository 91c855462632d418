"""What a job will take: machine time, electrode, measurements, advances, each as a range.

What is off is off for all holes alike: a removal rate guessed 40 % too high makes every hole late. So the ranges come
from the uncertainties of the technology and of the overcut, taken once for the job; hole-to-hole scatter averages out.
Removal per second counts the time at work in the holes: short recoveries and the ways back after them included.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from controller.plan.left import HOLE_SCATTER
from controller.plan.overcut import Overcut
from controller.plan.plan import Plan
from controller.plan.ranges import Range
from controller.plan.removal import melting_c, melting_point_removal_mm3_s
from controller.plan.wear import cone_volume_mm3, disc_area_mm2, length_lost_mm
from controller.settings.job import Job, Point
from controller.settings.machine import Machine
from controller.settings.technology import Guess, Technology

START_AND_END = Range(15.0, 45.0, 120.0)
"""Seconds for referencing, the first flow of water and the last rise. Chosen so that homing some
200 mm at 5 mm/s (common practice, no source) is the expected case, a start near the switches the low one."""

TOUCH = Range(4.0, 7.0, 20.0)
"""Seconds for one touch: descent at touch speed, slow repeats, proof of isolation. Chosen from the speeds of
`core.permissions` and `core.cycles.touch`."""

AROUND_A_HOLE = Range(3.0, 5.0, 12.0)
"""Seconds at each hole besides eroding, travel and lift: proof of isolation, flow, approach, cold opening. Chosen from
the contact times of electrics.md and the approach speed of `core.permissions`."""

OPERATOR = Range(60.0, 150.0, 600.0)
"""Seconds until the operator has advanced the electrode: isolator off, 5 s wait, meter, hands, isolator on
(electrics.md); 60 s is the virtual operator's (interfaces.md)."""

WEAR_SCATTER = 0.25
"""Scatter of one hole's wear over the wear itself, before any was seen: as `core.electrode` begins."""

TIP_U_MAX_MM = 0.1
"""About how well the tip is known when measuring it again pays, for a usual rod. Chosen; a test holds what comes of it
against the core's own rule (`core.measuring`)."""


@dataclass(slots=True, frozen=True)
class Budget:
    """A job's budget; every range holds about 95 %.

    Attributes:
        machine_seconds: From start to end, operator included.
        work_seconds: Of these, at work in the holes: eroding, short recoveries and the ways back after them.
        electrode_mm: Length of rod used up.
        measurements: Touches of the electrode on the reference plate.
        advances: Times the operator has to push the electrode down or to put a new one in.
        rods: Rods used, the first included.
        travel_mm: Way of the table from hole to hole.
        notes: What the reader should know, in sentences.
    """

    machine_seconds: Range
    work_seconds: Range
    electrode_mm: Range
    measurements: Range
    advances: Range
    rods: Range
    travel_mm: float
    notes: tuple[str, ...]


def budget(job: Job, machine: Machine, technology: Technology, plan: Plan, overcut: Overcut) -> Budget:
    """The budget of a job on a machine, with the overcut believed now."""
    count = len(plan.holes)
    work = _work_seconds(job, technology, overcut, count)
    electrode = _electrode_mm(job, technology, overcut, count)
    advances = _advances(job, machine, electrode, count)
    measurements = _measurements(electrode, advances, count)
    way_mm = _way_mm(plan, machine)
    moves = _moves_s(machine, plan, way_mm)
    total = (
        work
        + AROUND_A_HOLE.times(count)
        + Range.exactly(moves)
        + START_AND_END
        + TOUCH.times(len(plan.touch_points_mm))
        + _measuring_seconds(machine, plan, measurements)
        + Range(advances.low * OPERATOR.low, advances.expected * OPERATOR.expected, advances.high * OPERATOR.high)
    )
    rods = electrode.through(lambda used: _rods(job, used))
    notes = tuple(_notes(job, machine, technology, overcut, rods))
    return Budget(total, work, electrode, measurements, advances, rods, way_mm, notes)


def hole_area_mm2(job: Job, overcut_mm: float) -> float:
    """Area that is eroded away for one hole, mm²: a tube leaves the slug inside its bore standing."""
    electrode = job.electrode
    slug_mm = max(electrode.bore_mm - 2.0 * overcut_mm, 0.0)
    return disc_area_mm2(electrode.diameter_mm + 2.0 * overcut_mm, slug_mm)


def wear_mm(job: Job, volumetric_wear: float, overcut_mm: float) -> float:
    """Length of electrode that one hole takes, mm."""
    tool = disc_area_mm2(job.electrode.diameter_mm, job.electrode.bore_mm)
    return length_lost_mm(volumetric_wear, hole_area_mm2(job, overcut_mm), tool, job.work.thickness_mm)


def _relative_u(guess: Guess, job: Job, overcut: Overcut, count: int) -> float:
    """Relative standard uncertainty of a total: the guess's own, the hole's area's, and the scatter that is left."""
    area = hole_area_mm2(job, overcut.mean_mm)
    area_u = (hole_area_mm2(job, overcut.mean_mm + overcut.u_mm) - area) / area
    return math.hypot(guess.u / guess.guess, area_u, HOLE_SCATTER / math.sqrt(count))


def _work_seconds(job: Job, technology: Technology, overcut: Overcut, count: int) -> Range:
    volume = count * hole_area_mm2(job, overcut.mean_mm) * job.work.thickness_mm
    removal = technology.removal_mm3_s
    return Range.around(volume / removal.guess, _relative_u(removal, job, overcut, count))


def _electrode_mm(job: Job, technology: Technology, overcut: Overcut, count: int) -> Range:
    """Length used: what the worn volume makes of it, less what goes into forming the cone of a fresh, flat tip."""
    wear = technology.volumetric_wear
    total = Range.around(count * wear_mm(job, wear.guess, overcut.mean_mm), _relative_u(wear, job, overcut, count))
    cone = technology.cone_diameters
    diameter = job.electrode.diameter_mm
    area = disc_area_mm2(diameter)
    forming = [
        cone_volume_mm3(diameter / 2.0, max(cones, 0.0) * diameter) / area
        for cones in (cone.guess + 2.0 * cone.u, cone.guess, cone.guess - 2.0 * cone.u)
    ]
    return Range(
        max(total.low - forming[0], 0.0),
        total.expected - min(forming[1], total.expected / 2.0),
        total.high - min(forming[2], total.high / 2.0),
    )


def _advances(job: Job, machine: Machine, electrode: Range, count: int) -> Range:
    """Each fill of the holder lasts from the protrusion after an advance to the least, one sure hole short."""
    holder = machine.holder
    reach = holder.protrusion_mm - holder.min_protrusion_mm

    def fills(used: float, protrusion_off: float) -> float:
        lasts = max(reach + protrusion_off - used / count - 2.0 * TIP_U_MAX_MM, 0.1)
        return max(math.ceil(used / lasts), 1) - 1

    unsure = 2.0 * holder.protrusion_u_mm
    return Range(
        max(fills(electrode.low, unsure), _rods(job, electrode.low) - 1),
        max(fills(electrode.expected, 0.0), _rods(job, electrode.expected) - 1),
        fills(electrode.high, -unsure) + _rods(job, electrode.high) - 1,
    )


def _rods(job: Job, used_mm: float) -> float:
    return max(math.ceil(used_mm / (job.electrode.length_mm - job.electrode.min_length_mm)), 1)


def _measurements(electrode: Range, advances: Range, count: int) -> Range:
    """One at the start, at the end and after every advance; between them as often as the scatter of wear asks.

    That scatter is learned from hole to hole, so the interval at the scatter believed before is the short end: half of
    it at the worst, twice of it expected, none at best.
    """
    scatter = WEAR_SCATTER * electrode.expected / count
    between = count / max((TIP_U_MAX_MM / scatter) ** 2, 1.0)
    return Range(
        2.0 + advances.low,
        2.0 + advances.expected + math.floor(between / 2.0),
        3.0 + advances.high + math.ceil(2.0 * between),
    )


def _measuring_seconds(machine: Machine, plan: Plan, measurements: Range) -> Range:
    plate = (machine.reference_plate.x_mm, machine.reference_plate.y_mm)
    away = sum(math.dist(plate, (hole.x_mm, hole.y_mm)) for hole in plan.holes) / len(plan.holes)
    there_s = _travel_s(machine, away) + _lift_s(machine)
    # The rod drips on its way.
    once = TOUCH + Range.exactly(there_s + max(there_s, machine.water.drip_pause_s))
    expected = measurements.expected * once.expected
    return Range(measurements.low * once.low, expected, measurements.high * once.high)


def _way_mm(plan: Plan, machine: Machine) -> float:
    start: Point = (machine.reference_plate.x_mm, machine.reference_plate.y_mm)
    path = [start, *((hole.x_mm, hole.y_mm) for hole in plan.holes)]
    way = math.dist if plan.ways is None else plan.ways.length_mm
    return sum(way(a, b) for a, b in pairwise(path))


def _moves_s(machine: Machine, plan: Plan, way_mm: float) -> float:
    """Seconds of travel from hole to hole and of lifting and lowering at each."""
    count = len(plan.holes)
    return count * (_travel_s(machine, way_mm / count) + _lift_s(machine))


def _travel_s(machine: Machine, way_mm: float) -> float:
    axes = machine.axes
    return move_s(way_mm, min(axes.top_speed_mm_s[:2]), min(axes.acceleration_mm_s2[:2]))


def _lift_s(machine: Machine) -> float:
    """Up to the clear height and down again."""
    axes = machine.axes
    return 2.0 * move_s(machine.work_place.clear_height_mm, axes.top_speed_mm_s[2], axes.acceleration_mm_s2[2])


def move_s(way_mm: float, top_mm_s: float, acceleration_mm_s2: float) -> float:
    """Seconds of a move from rest to rest: a trapezoid of speed over time, or a triangle when it is short."""
    if way_mm * acceleration_mm_s2 < top_mm_s**2:
        return 2.0 * math.sqrt(way_mm / acceleration_mm_s2)
    return way_mm / top_mm_s + top_mm_s / acceleration_mm_s2


def _notes(job: Job, machine: Machine, technology: Technology, overcut: Overcut, rods: Range) -> list[str]:
    notes: list[str] = []
    melting = melting_c(job.work.material)
    removal = technology.removal_mm3_s.guess
    if melting is not None:
        bound = melting_point_removal_mm3_s(machine.source.limit_a, melting)
        if removal > bound:
            notes.append(
                f"the technology promises {removal:g} mm³/s, more than the melting-point law allows at "
                f"{machine.source.limit_a:g} A ({bound:.2f} mm³/s): expect longer times"
            )
    if rods.high > 1:
        least, most = f"{rods.low:.0f}", f"{rods.high:.0f}"
        needed = most if least == most else f"{least} to {most}"
        notes.append(f"have {needed} rods of {job.electrode.length_mm:g} mm at hand")
    if overcut.n == 0:
        notes.append("the overcut is the technology's guess: gauge a first article to know it")
    return notes
