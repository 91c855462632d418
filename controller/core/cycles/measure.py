"""Measuring the electrode on the reference plate, and mapping the face of the work, both on the sensing path."""

from __future__ import annotations

from dataclasses import astuple
from math import hypot
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.cycles.touch import REFERENCE_PLATE, touch_down
from controller.core.cycles.travel import lower, rise, travel
from controller.core.cycles.wait import drip
from controller.core.events import ElectrodeMeasured, SurfaceMapped, WaterSensed
from controller.core.leak import conductivity_us_cm
from controller.core.rig import Bench, Cycle, Rig
from controller.core.surface import fit_surface
from controller.plan.frame import frame_height_mm
from controller.settings.units import UM_PER_MM

# A touch is never better than the place where a step fell: a uniform half step and the reaction of one slow tick, plus
# the rest of a wet correction. Chosen so that two steps of a usual feed axis are one standard uncertainty.
TOUCH_U_MM: Final = 0.005
# The end switch on which z was referenced repeats to a few micrometres, and every height stands on it (common
# practice, no source: a micro-switch).
HOMING_U_MM: Final = 0.004
# How much shorter than believed a rod may be and still be found on the plate: some holes' wear and a bad guess. Chosen.
WORN_MM: Final = 5.0
# Room kept above a place whose height is believed, before the touch begins. Chosen so.
TOUCH_ROOM_MM: Final = 0.5
# Room for the tilt of a roughly laid plate, since the stated height holds for one place of it. Chosen: 3° over 38 mm.
TILT_ROOM_MM: Final = 2.0
# Other places of the plate, near enough to be on any (mm); how much further down than the first they are looked for;
# how far apart clean ones may be: twice the levelness of a plate that was laid by hand over that way. Chosen.
BESIDE_MM: Final = 3.0
AGAIN_MM: Final = 2.0
DIRTY_MM: Final = 0.04


def measure(
    rig: Bench,
    *,
    from_here: bool = False,
    doubt_mm: float | None = None,
    least_mm: float | None = None,
    longer_mm: float = 0.0,
) -> Cycle[float]:
    """Touch the reference plate, take in the tip length, go back to where it came from; returns what was measured.

    Raises Trip as `touch_down` does, and when the plate is dirty.

    Args:
        rig: the bench.
        from_here: the whole way down at touch speed: nothing is believed of a rod that may be another one.
        doubt_mm: further than this from what was predicted, the plate is touched at two more places.
        least_mm: the rod may be as short as this.
        longer_mm: it may be longer than believed by so much more than its uncertainty says.
    """
    plate = rig.machine.reference_plate
    start_s = rig.now_s
    from_mm = rig.sense.seen.x_um / UM_PER_MM, rig.sense.seen.y_um / UM_PER_MM
    rig.say("Measuring the electrode on the reference plate")
    predicted, predicted_u = rig.electrode.tip_mm, rig.electrode.tip_u_mm
    yield from travel(rig, plate.x_mm, plate.y_mm)
    yield from drip(rig)
    expected_mm = plate.height_mm + predicted
    room_mm = 3.0 * predicted_u + TOUCH_ROOM_MM + longer_mm
    if not from_here:
        yield from lower(rig, (expected_mm + room_mm) * UM_PER_MM)
    deeper_mm = room_mm + WORN_MM
    if least_mm is not None:
        deeper_mm = max(deeper_mm, room_mm + predicted - least_mm)
    contact = yield from touch_down(rig, expected_mm * UM_PER_MM, deeper_mm * UM_PER_MM, REFERENCE_PLATE)
    sense_water(rig)
    tip_mm = contact.z_um / UM_PER_MM - plate.height_mm
    if doubt_mm is not None and abs(tip_mm - predicted) > doubt_mm:
        tip_mm = yield from _confirmed(rig, tip_mm)
    u_mm = hypot(TOUCH_U_MM, contact.spread_um / UM_PER_MM / 2.0, plate.height_u_mm, HOMING_U_MM)
    rig.electrode.measured(tip_mm, u_mm)
    yield from travel(rig, *from_mm)
    rig.measuring.measured(rig.now_s - start_s)
    rig.tell(
        ElectrodeMeasured(
            rig.now_s,
            tip_mm,
            u_mm,
            predicted,
            predicted_u,
            rig.electrode.stock_mm,
            rig.hole,
            rig.now_s - start_s,
        )
    )
    rig.check_point()
    return tip_mm


def _confirmed(rig: Bench, tip_mm: float) -> Cycle[float]:
    """Touch the plate at two more places; returns the middle length. Raises Trip when they don't agree."""
    plate, lengths = rig.machine.reference_plate, [tip_mm]
    for x_mm, y_mm in ((plate.x_mm + BESIDE_MM, plate.y_mm), (plate.x_mm, plate.y_mm + BESIDE_MM)):
        yield from rise(rig)
        yield from travel(rig, x_mm, y_mm)
        expected_mm = plate.height_mm + tip_mm
        yield from lower(rig, (expected_mm + TOUCH_ROOM_MM) * UM_PER_MM)
        margin_um = (TOUCH_ROOM_MM + AGAIN_MM) * UM_PER_MM
        contact = yield from touch_down(rig, expected_mm * UM_PER_MM, margin_um, REFERENCE_PLATE)
        lengths.append(contact.z_um / UM_PER_MM - plate.height_mm)
    apart_mm = max(lengths) - min(lengths)
    if apart_mm > DIRTY_MM:
        raise trip(Cause.PLATE_DIRTY, f"three places are {UM_PER_MM * apart_mm:.0f} µm apart")
    return sorted(lengths)[1]


def sense_water(rig: Bench) -> None:
    """Tell how conductive the water is, when a fresh end has just come down through some."""
    if rig.electrode.cone_mm > 0.0:
        return
    trace, metal_um = rig.descent
    series_ohm = rig.machine.sampler.sensing_series_ohm
    found = conductivity_us_cm(trace, metal_um, rig.rod_mm * UM_PER_MM, 0.0, series_ohm)
    if found is not None:
        rig.tell(WaterSensed(rig.now_s, *found, rig.hole))


def map_surface(rig: Rig) -> Cycle[None]:
    """Touch the face of the work at the plan's points and fit the plane. Raises Trip as `touch_down` does."""
    place = rig.machine.work_place
    points: list[tuple[float, float, float]] = []
    for number, (x_mm, y_mm) in enumerate(rig.given.plan.touch_points_mm, 1):
        rig.say(f"Mapping the work: touch {number} of {len(rig.given.plan.touch_points_mm)}")
        yield from travel(rig, x_mm, y_mm)
        expected_mm, unsure_mm = frame_height_mm(place, x_mm, y_mm), 3.0 * place.surface_height_u_mm
        room_mm = unsure_mm + TILT_ROOM_MM
        if points:
            # The first touch has found the height; what is left is the tilt.
            expected_mm += points[0][2] - frame_height_mm(place, *points[0][:2])
            unsure_mm = min(unsure_mm, TILT_ROOM_MM)
            room_mm = min(unsure_mm + TOUCH_ROOM_MM, TILT_ROOM_MM)
        axis_mm = expected_mm + rig.electrode.tip_mm
        yield from lower(rig, (axis_mm + room_mm) * UM_PER_MM)
        contact = yield from touch_down(rig, axis_mm * UM_PER_MM, (unsure_mm + 1.0) * UM_PER_MM, "the work")
        points.append((x_mm, y_mm, contact.z_um / UM_PER_MM - rig.electrode.tip_mm))
        yield from rise(rig)
    surface = fit_surface(points, TOUCH_U_MM)
    rig.surface = surface
    rig.tell(SurfaceMapped(rig.now_s, *astuple(surface)))
