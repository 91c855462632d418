"""Removal on the running plant against what energy, and the melting-point law, allow at most."""

from __future__ import annotations

from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.plan.removal import IRON_MELT_J_MM3, energy_removal_mm3_s, melting_point_removal_mm3_s
from tests.published.running_plant import TICK_S, Bench, plant_with, volt_seconds

UM3_PER_MM3 = 1e9
# Anything between a short and a recovering output is a discharge: 22.5 V with five of its scatters to each side.
BURNING_LOW_V, BURNING_HIGH_V = 12.0, 33.0
# Recovery passes through the burning voltage; made too short to count, so that the integral is the discharges' alone.
NO_RECOVERY_MS = 1e-3
IRON_C = 1538.0


def test_iron_takes_ten_joules_a_cubic_millimetre_to_melt() -> None:
    """1296 kJ/kg from 298 K to the melt at 1809 K, at 7.87 g/cm³ (thermochemical tables): 10.2 J/mm³."""
    assert pytest.approx(1296e3 * 7.87e-6, abs=0.05) == IRON_MELT_J_MM3
    assert energy_removal_mm3_s(22.5, 10.0) == pytest.approx(22.06, abs=0.01)


@settings(max_examples=12)
@given(
    law=st.sampled_from(["cut-out", "chopped"]),
    energy_scale=st.floats(0.1, 100.0),
    gap_um=st.floats(5.0, 50.0),
    limit_a=st.floats(2.0, 20.0),
    seed=st.integers(0, 1000),
)
def test_no_plant_removes_more_than_its_discharges_could_melt(
    law: Literal["cut-out", "chopped"], energy_scale: float, gap_um: float, limit_a: float, seed: int
) -> None:
    """Removal × 10.2 J/mm³ never exceeds gap voltage × current over the discharges, however the plant file is set."""
    plant = plant_with(
        source={"law": law, "limit_a": limit_a, "recovery_ms": NO_RECOVERY_MS, "dropout_rate_scale": 0.0},
        crater={"energy_scale": energy_scale},
        water={"etch_efficiency": 0.0},
    )
    bench = Bench(plant, 1.2, 1000.0, seed)
    ticks = [*bench.follow(gap_um, 100), *bench.follow(1000.0, 20)]  # ends clear of the work: no discharge cut in two
    spent_j = limit_a * sum(volt_seconds(tick, BURNING_LOW_V, BURNING_HIGH_V) for tick in ticks)
    assert bench.hole.removed_um3 / UM3_PER_MM3 * IRON_MELT_J_MM3 <= spent_j * (1 + 1e-9)


def test_the_default_plant_turns_a_few_per_cent_of_its_energy_into_removal() -> None:
    """10 to 15 % of the energy reaches both electrodes in micro-EDM (Zahiruddin & Kunieda, abstract)."""
    bench = Bench(plant_with(source={"recovery_ms": NO_RECOVERY_MS}), 1.2, 1000.0, seed=3)
    spent_j = 10.0 * sum(volt_seconds(tick, BURNING_LOW_V, BURNING_HIGH_V) for tick in bench.follow(30.0, 1500))
    share = bench.hole.removed_um3 / UM3_PER_MM3 * IRON_MELT_J_MM3 / spent_j
    assert bench.erosion.sparks > 500
    assert 0.01 < share < 0.15


def test_the_default_plant_stays_below_the_melting_point_law() -> None:
    """The law for good pulsed supplies in oil (Groover, memory; El-Hofy p. 395) is an upper bound for this trade."""
    bench = Bench(plant_with(), 1.2, 1000.0, seed=3)
    for _ in bench.follow(30.0, 1500):
        pass
    rate_mm3_s = bench.hole.removed_um3 / UM3_PER_MM3 / (1500 * TICK_S)
    assert 0.1 / 60.0 < rate_mm3_s < melting_point_removal_mm3_s(10.0, IRON_C)
