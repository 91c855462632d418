"""Wear geometry against its published table, and mass against volume."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.plan.wear import (
    cone_volume_mm3,
    disc_area_mm2,
    feed_through_mm,
    length_lost_mm,
    linear_wear,
    melting_point_wear,
    true_depth_mm,
    volumetric_from_mass,
)

HOLE_MM2, TOOL_MM2 = disc_area_mm2(1.7), disc_area_mm2(1.6)


@pytest.mark.parametrize(
    ("volumetric", "lost_mm", "feed_mm"),
    [(0.05, 0.056445, 1.056445), (0.10, 0.112891, 1.112891), (0.20, 0.225781, 1.225781), (0.50, 0.564453, 1.564453)],
)
def test_table_of_length_lost_and_feed(volumetric: float, lost_mm: float, feed_mm: float) -> None:
    """Rod 1.6, hole 1.7, plate 1 mm: w = θ·h·A_h/A_t, feed h + w (standard definitions, arithmetic recomputed)."""
    assert length_lost_mm(volumetric, HOLE_MM2, TOOL_MM2, 1.0) == pytest.approx(lost_mm, abs=5e-7)
    assert feed_through_mm(volumetric, HOLE_MM2, TOOL_MM2, 1.0) == pytest.approx(feed_mm, abs=5e-7)


@given(
    volumetric=st.floats(0.0, 2.0),
    thickness_mm=st.floats(0.1, 50.0),
    rod_mm=st.floats(0.1, 10.0),
    overcut_mm=st.floats(0.0, 0.5),
)
def test_true_depth_inverts_the_feed(volumetric: float, thickness_mm: float, rod_mm: float, overcut_mm: float) -> None:
    """True depth z/(1 + θ·A_h/A_t) (Yu, Masuzawa & Fujino 1998, formula from memory) undoes z = h + w."""
    hole, tool = disc_area_mm2(rod_mm + 2 * overcut_mm), disc_area_mm2(rod_mm)
    feed_mm = feed_through_mm(volumetric, hole, tool, thickness_mm)
    assert true_depth_mm(feed_mm, volumetric, hole, tool) == pytest.approx(thickness_mm, rel=1e-12)


def test_a_tube_loses_more_length_than_a_rod_for_the_same_hole() -> None:
    """Half the area loses twice the length (geometry)."""
    bore_mm = 1.6 / 2**0.5
    rod, tube = linear_wear(0.1, HOLE_MM2, TOOL_MM2), linear_wear(0.1, HOLE_MM2, disc_area_mm2(1.6, bore_mm))
    assert tube == pytest.approx(2 * rod, rel=1e-12)


def test_cone_takes_two_thirds_of_its_cylinder() -> None:
    """Radius 0.8, cone 0.5: 0.670 mm³ lost (geometry, recomputed); with the cone left it makes up the cylinder."""
    assert cone_volume_mm3(0.8, 0.5) == pytest.approx(0.670, abs=5e-4)
    assert cone_volume_mm3(0.8, 0.5) == pytest.approx(disc_area_mm2(1.6) * 0.5 * 2 / 3, rel=1e-12)


def test_mass_ratio_is_not_volume_ratio() -> None:
    """Copper 200 to 180 g, iron 3.125 to 3.096 kg: 0.690 by mass, 0.606 by volume (Engineer On a Disk)."""
    tool_g, work_g = 200.0 - 180.0, 3125.0 - 3096.0
    assert volumetric_from_mass(tool_g, work_g, 1.0, 1.0) == pytest.approx(0.690, abs=5e-4)
    assert volumetric_from_mass(tool_g, work_g, 8.96, 7.87) == pytest.approx(0.606, abs=5e-4)


def test_kalpakjian_wear_of_tungsten_on_steel() -> None:
    """Work:tool about 14, so the tool loses about 7 % of the work's volume (Kalpakjian, memory)."""
    theta = melting_point_wear(1538.0, 3414.0)
    assert 1.0 / theta == pytest.approx(14.0, abs=0.5)
    assert theta == pytest.approx(0.07, abs=0.003)
