"""Ignition delays, leak and etching on the running plant: nothing there draws them by the formula they must obey."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from scipy import stats

from controller.core.fits import fit_line
from tests.published.running_plant import TICK_S, Bench, plant_with

UM3_PER_MM3 = 1e9
# Craters, ridges, shake, bridges and debris as good as gone, so that the hazard stays what it is.
STILL = {
    "crater": {"energy_scale": 1e-9, "peak_um": 0.0},
    "rod": {"jet_bend_um": 0.0},
    "weld": {"bridge_rate_hz": 0.0},
    "overcut": {"scatter": 0.0},
}


def delays_s(law: str, gap_um: float, count: int, seed: int) -> tuple[np.ndarray, float]:
    """Delays at a held gap, and the sum of the hazards of all places there (1/s)."""
    bench = Bench(plant_with(**STILL, ignition={"law": law}), 1.2, 1000.0, seed)
    bench.erosion.delays_s = []
    while len(bench.erosion.delays_s) < count:
        bench.stand(gap_um)
    return np.array(bench.erosion.delays_s[:count]), bench.erosion.hazard_hz


@pytest.mark.parametrize(
    ("law", "gap_um"), [("exponential", 31.0), ("exponential", 36.0), ("power", 36.0), ("threshold", 31.0)]
)
def test_delays_at_a_held_gap_are_exponential(law: str, gap_um: float) -> None:
    """CV 1, skew 2, excess kurtosis 6 at 31 and 36 µm (Ushakov et al.), within 4 sampling errors."""
    count = 2500
    seen, hazard_hz = delays_s(law, gap_um, count, seed=5)
    ideal = np.random.default_rng(6).standard_exponential((400, count))
    for statistic, expected in ((stats.variation, 1.0), (stats.skew, 2.0), (stats.kurtosis, 6.0)):
        drawn = statistic(ideal, axis=1)
        assert abs(statistic(seen) - expected) < 4.0 * drawn.std() + abs(drawn.mean() - expected)
    assert stats.kstest(seen, "expon", args=(0.0, 1.0 / hazard_hz)).pvalue > 0.001


def test_the_laue_plot_has_the_slope_of_the_hazard() -> None:
    """ln(n/n₀) against time is straight, slope -1/τ (von Laue 1925, Zuber 1925), τ one over the summed hazard."""
    seen, hazard_hz = delays_s("exponential", 31.0, 2500, seed=7)
    times_s = np.quantile(seen, np.linspace(0.05, 0.9, 18))
    left = [log(np.mean(seen > time_s)) for time_s in times_s]
    line = fit_line(times_s.tolist(), left)
    assert line.r_squared > 0.998
    assert line.slope == pytest.approx(-hazard_hz, rel=0.08)  # 4 standard errors of 1/sqrt(2500)


def leaking(conductivity_us_cm: float) -> Bench:
    """A 1.6 mm face held over an untouched plate, too tired to ignite, dissolving with all of its leak."""
    plant = plant_with(
        **STILL,
        ignition={"rate_s_mm2": 1e-9},
        water={"conductivity_us_cm": conductivity_us_cm, "etch_efficiency": 1.0},
        source={"dropout_rate_scale": 0.0},
    )
    return Bench(plant, 1.6, 1000.0, seed=1)


@pytest.mark.parametrize(("conductivity_us_cm", "leak_ma"), [(1.0, 0.429), (10.0, 4.29), (100.0, 42.9), (500.0, 214.0)])
def test_leak_of_the_running_plant(conductivity_us_cm: float, leak_ma: float) -> None:
    """I = σ·U·A/g at 64 V, 1.6 mm face, 30 µm (recomputed in references), to 1 %."""
    bench = leaking(conductivity_us_cm)
    bench.stand(30.0)
    assert 64.0 / bench.erosion.leak_ohm() * 1000.0 == pytest.approx(leak_ma, rel=0.01)


def test_an_idle_live_gap_dissolves_iron_by_faraday() -> None:
    """0.214 A dissolve 0.03677 mm³/(A·s): 0.47 mm³/min (F = 96485.33212 C/mol, recomputed in references)."""
    bench = leaking(500.0)
    ticks = 0
    while bench.hole.removed_um3 == 0.0:
        bench.stand(30.0)
        ticks += 1
    # The tick that books the dissolved metal does so before its own time passes.
    rate_mm3_min = bench.hole.removed_um3 / UM3_PER_MM3 / ((ticks - 1) * TICK_S) * 60.0
    assert bench.erosion.sparks == 0
    assert rate_mm3_min == pytest.approx(0.214 * 0.03677 * 60.0, rel=0.01)
    assert rate_mm3_min == pytest.approx(0.47, abs=0.01)
