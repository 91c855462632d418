"""Electrode wear against depth: two laws, and what they make of a hole."""

from __future__ import annotations

import pytest

from sim.truth import drill_ideally
from sim.wear import wear_against_depth
from tests.sim.bench_gap import Bench, plant_with


def test_even_wear_is_the_same_at_every_depth() -> None:
    """Volumetric ratio times the plant's scale, whatever the depth."""
    wear = wear_against_depth(plant_with(wear={"law": "even", "tool_scale": 2.0, "volumetric_ratio": 0.1}))
    assert wear(0.0) == wear(5000.0) == pytest.approx(0.2)


def test_rising_wear_doubles_at_its_depth() -> None:
    """Straight in depth, from the same ratio at the face."""
    wear = wear_against_depth(plant_with(wear={"law": "rising", "rise_um": 800.0, "volumetric_ratio": 0.1}))
    assert wear(0.0) == pytest.approx(0.1)
    assert wear(800.0) == pytest.approx(0.2)
    assert wear(2400.0) == pytest.approx(0.4)


@pytest.mark.parametrize(("law", "least", "most"), [("even", 0.089, 0.092), ("rising", 0.12, 0.18)])
def test_a_hole_wears_the_tool_by_the_law(law: str, least: float, most: float) -> None:
    """What one hole takes off the tool over what it takes off the work: the mean of the law over the depth."""
    bench = Bench(plant_with(wear={"law": law, "rise_um": 750.0}), thickness_um=500.0)
    drill_ideally(bench.erosion, bench.hole, 600.0)
    assert bench.hole.through
    assert least < bench.electrode.lost_um3 / bench.hole.removed_um3 < most
