"""Wear geometry: what a volumetric wear ratio means in length of electrode and depth of hole.

Volumetric wear ratio: volume lost by the tool over volume removed from the work. Linear wear ratio: length lost by the
tool over depth of hole. They differ by the ratio of hole area to tool area. The same form is the layer compensation of
Yu, Masuzawa & Fujino 1998, CIRP Annals 47(1) 169-172.
"""

from __future__ import annotations

from math import pi


def disc_area_mm2(diameter_mm: float, bore_mm: float = 0.0) -> float:
    """Area in mm² of a round hole or rod, or of a tube with a bore, from diameters in mm."""
    return pi / 4.0 * (diameter_mm**2 - bore_mm**2)


def linear_wear(volumetric_wear: float, hole_area_mm2: float, tool_area_mm2: float) -> float:
    """Linear wear ratio, tool/work, from the volumetric one and the two areas in mm²."""
    return volumetric_wear * hole_area_mm2 / tool_area_mm2


def length_lost_mm(volumetric_wear: float, hole_area_mm2: float, tool_area_mm2: float, thickness_mm: float) -> float:
    """Length in mm that the electrode loses over a hole of the given depth."""
    return linear_wear(volumetric_wear, hole_area_mm2, tool_area_mm2) * thickness_mm


def feed_through_mm(volumetric_wear: float, hole_area_mm2: float, tool_area_mm2: float, thickness_mm: float) -> float:
    """Axis feed in mm, from first spark, at which the tip reaches the far face: thickness and the length lost on it."""
    return thickness_mm + length_lost_mm(volumetric_wear, hole_area_mm2, tool_area_mm2, thickness_mm)


def true_depth_mm(feed_mm: float, volumetric_wear: float, hole_area_mm2: float, tool_area_mm2: float) -> float:
    """Depth in mm that the tip has reached at an axis feed: the inverse of `feed_through_mm`."""
    return feed_mm / (1.0 + linear_wear(volumetric_wear, hole_area_mm2, tool_area_mm2))


def cone_volume_mm3(radius_mm: float, cone_length_mm: float) -> float:
    """Volume in mm³ missing from a rod of the given radius whose tip has worn to a cone of the given length."""
    return 2.0 / 3.0 * pi * radius_mm**2 * cone_length_mm


def volumetric_from_mass(
    tool_lost_g: float, work_lost_g: float, tool_density_g_cm3: float, work_density_g_cm3: float
) -> float:
    """Volumetric wear ratio, tool/work, from weighing both: mass ratios mislead when the densities differ."""
    return (tool_lost_g / tool_density_g_cm3) / (work_lost_g / work_density_g_cm3)


def melting_point_wear(work_melting_c: float, tool_melting_c: float) -> float:
    """Rough volumetric wear ratio, tool/work, from the two melting points in °C (Kalpakjian, memory).

    Kalpakjian gives work/tool = 2.25 * (Tm_work / Tm_tool)**-2.3; this is its inverse.
    """
    return float(1.0 / (2.25 * (work_melting_c / tool_melting_c) ** -2.3))
