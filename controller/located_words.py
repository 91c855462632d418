"""What was located, in words and as JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from statistics import fmean
from typing import Any

from controller.core.events import Event, WaterSensed
from controller.core.found import Corner, Edge, FacePlane, Round
from controller.plan.patterns import places
from controller.plan.work_frame import WorkFrame
from controller.settings.job import Job
from controller.settings.machine import Axes

Found = FacePlane | Edge | Corner | Round


def found_lines(face: FacePlane, thing: Found, axes: Axes, seconds: float) -> list[str]:
    """What was found, with expanded uncertainties (k = 2)."""
    steep = 1000.0 * math.hypot(*face.slope)
    toward = math.degrees(math.atan2(face.slope[1], face.slope[0]))
    flat = (
        f"largest residual {1e3 * face.residual_mm:.0f} µm over {face.touches} touches"
        if face.touches > 3
        else "three touches, so nothing tells whether it is flat"
    )
    wet = "; it was wet" if face.wet else ""
    lines = [""]
    lines[0] = (
        f"Face at z {face.z_mm:.3f} ± {2.0 * face.u_z_mm:.3f} mm at x {face.x_mm:.2f}, y {face.y_mm:.2f}, rising "
        f"{steep:.1f} mm a metre toward {toward:.0f}°; {flat}{wet}."
    )
    if isinstance(thing, Corner):
        lines.append(
            f"Corner at x {thing.x_mm:.4f} ± {2.0 * thing.u_x_mm:.4f}, y {thing.y_mm:.4f} ± {2.0 * thing.u_y_mm:.4f} "
            f"mm; its first edge lies at {thing.angle_deg:.4f} ± {2.0 * thing.u_angle_deg:.4f}°, the two meet at "
            f"{abs(thing.square_deg):.3f}°, seen from above."
        )
    elif isinstance(thing, Edge):
        lines.append(
            f"Edge at {thing.angle_deg:.4f} ± {2.0 * thing.u_angle_deg:.4f}°, through x {thing.x_mm:.4f}, y "
            f"{thing.y_mm:.4f} ± {2.0 * thing.u_across_mm:.4f} mm across; largest spread about it "
            f"{1e3 * thing.residual_mm:.1f} µm."
        )
    elif isinstance(thing, Round):
        lines.append(
            f"Middle at x {thing.x_mm:.4f} ± {2.0 * thing.u_x_mm:.4f}, y {thing.y_mm:.4f} ± {2.0 * thing.u_y_mm:.4f} "
            f"mm, diameter {thing.diameter_mm:.4f} ± {2.0 * thing.u_diameter_mm:.4f} mm; out of round by "
            f"{1e3 * thing.residual_mm:.1f} µm (standard deviation)."
        )
    if not isinstance(thing, FacePlane):
        lost = thing.lost_mm
        lines.append(
            f"Lost motion found: x {1e3 * lost[0]:.0f}, y {1e3 * lost[1]:.0f} µm (the machine file says "
            f"{axes.backlash_um[0]:g} and {axes.backlash_um[1]:g})."
        )
    lines.append(f"It took {seconds / 60.0:.1f} min of machine time; all ± are expanded, k = 2.")
    return lines


def water_lines(events: Sequence[Event]) -> list[str]:
    """What the water was like, when a fresh end came down through some."""
    sensed = [event for event in events if isinstance(event, WaterSensed)]
    if not sensed:
        return []
    low, high = fmean(each.low_us_cm for each in sensed), fmean(each.high_us_cm for each in sensed)
    return [f"Water left on the plate: between {low:.0f} and {high:.0f} µS/cm by its leak."]


def frame_lines(job: Job, frame: WorkFrame | str, plate: str, kept: Path) -> list[str]:
    """The frame that everything located on the plate gives, or what is missing; and where it is kept."""
    if isinstance(frame, str):
        return [f"Kept in {kept}. No frame yet: {frame}."]
    x, y = frame.frame.origin_mm
    worst = max(frame.u_at_mm(place) for place in places(job.holes))
    odd = f" Its middles fit the drawing to {1e3 * frame.misfit_mm:.0f} µm." if frame.misfit_mm else ""
    lines = [f"Kept in {kept}."]
    lines.append(
        f"Frame of plate {plate!r}, by {frame.source}: the job's zero at x {x:.3f}, y {y:.3f} mm, turned "
        f"{frame.frame.rotation_deg:.3f}°; the job's holes are placed to ± {2e3 * worst:.0f} µm (k = 2), referencing "
        f"anew included.{odd}"
    )
    if job.work.plate != plate:
        lines.append(f'To plan and drill by it, write under [work] of the job: plate = "{plate}"')
    return lines


def frame_json(frame: WorkFrame) -> dict[str, Any]:
    """The frame as JSON-ready fields."""
    return {
        "origin_mm": frame.frame.origin_mm,
        "rotation_deg": frame.frame.rotation_deg,
        "slope": frame.frame.slope,
        "height_mm": frame.height_mm,
        "u_mm": frame.u_mm,
        "u_turn_rad": frame.u_turn_rad,
        "source": frame.source,
        "misfit_mm": frame.misfit_mm,
    }
