"""The source's laws, the water over a job, chance, and the plant files."""

from __future__ import annotations

from math import inf
from pathlib import Path

import pytest

from controller.settings.load import SettingsError
from sim.random import Streams
from sim.settings import DEFAULT_PLANT, load_plant
from sim.source import Source
from sim.water import GapWater, WaterTruth
from tests.sim.bench_gap import Bench, plant_with

PLANTS = sorted(DEFAULT_PLANT.parent.glob("*.toml"))


def source_of(**keys: object) -> Source:
    streams = Streams(3)
    return Source(plant_with(source=keys), streams.named("source"), streams.named("drop-outs"))


def test_discharges_and_pauses_keep_their_bounds() -> None:
    """Discharges of 0.2-3 ms, then 1-10 ms without output (electrics.md); 22.5 V burning (IMechE B 2015)."""
    source = source_of()
    on_s, off_s = [source.on_s() for _ in range(5000)], [source.off_s() for _ in range(5000)]
    volts = [source.burning_v() for _ in range(5000)]
    assert 0.2e-3 <= min(on_s) < max(on_s) <= 3e-3
    assert 1e-3 <= min(off_s) < max(off_s) <= 10e-3
    assert sum(volts) / 5000 == pytest.approx(22.5, abs=0.1)
    assert all(15.0 < volt < 30.0 for volt in volts)


def test_an_arc_with_a_wide_scatter_still_burns() -> None:
    """However its voltage scatters, no discharge takes energy out of the gap."""
    source = source_of(burning_v=11.0, burning_scatter_v=6.0)
    assert min(source.burning_v() for _ in range(5000)) == pytest.approx(5.5)


@pytest.mark.parametrize("law", ["lognormal", "periodic", "exponential"])
def test_drop_outs_come_at_their_rate_and_last_as_they_should(law: str) -> None:
    """Drop-outs last 10-400 ms (electrics.md) and come as often as the plant says, under every law."""
    source = source_of(dropout_law=law, dropout_rate_hz=0.5, dropout_rate_scale=2.0)
    count = sum(source.until_drop_s(0.01, 0.0) < inf for _ in range(100_000))
    assert count == pytest.approx(1000, rel=0.12)
    lasts_s = [source.drop_s() for _ in range(2000)]
    assert 0.010 <= min(lasts_s) < max(lasts_s) <= 0.400


def test_load_dependent_source_drops_out_more_under_load() -> None:
    """Some sources drop out more under load; others don't care."""
    for dependent, ratio in ((True, 4.0), (False, 1.0)):
        idle, loaded = (source_of(dropout_load_dependent=dependent, dropout_rate_hz=1.0) for _ in range(2))
        idle_count = sum(idle.until_drop_s(0.01, 0.0) < inf for _ in range(60_000))
        loaded_count = sum(loaded.until_drop_s(0.01, 1.0) < inf for _ in range(60_000))
        assert loaded_count / idle_count == pytest.approx(ratio, rel=0.2)


def test_chopped_output_is_met_high_or_low_while_a_discharge_burns() -> None:
    """A chopped discharge shows burning voltage and nothing in turns, faster than a 1 kHz sampler follows."""
    bench = Bench(plant_with(source={"law": "chopped", "dropout_rate_scale": 0.0}))
    segments = bench.park(25.0, 5.0)
    high_s = low_s = began_s = 0.0
    for end_s, volts in segments:
        high_s += (end_s - began_s) * (15.0 < volts < 30.0)
        low_s += (end_s - began_s) * (volts < 1.0)
        began_s = end_s
    assert high_s / (high_s + low_s) == pytest.approx(bench.plant.source.chop_duty, abs=0.08)


def test_drop_out_over_an_open_gap_reads_low_without_a_discharge() -> None:
    """Parked clear of the work no discharge is possible, and every low is the source's own drop-out."""
    bench = Bench(plant_with(source={"dropout_rate_scale": 4.0}))
    segments = bench.park(900.0, 60.0)
    assert bench.erosion.sparks == 0
    assert {volts for _, volts in segments} == {bench.plant.source.open_v, bench.plant.source.off_v}


def test_water_grows_dirty_and_conductive_over_a_job() -> None:
    """Water grows brown and conductive over a job (common practice, no source)."""
    water = WaterTruth(load_plant())
    clean = (water.dirt, water.conductivity_us_cm)
    water.removed_um3 += 320 * 1.77e9
    assert clean == (0.0, 350.0)
    assert 0.5 < water.dirt < 1.0
    assert 1.3 * 350.0 < water.conductivity_us_cm < 2.3 * 350.0
    water.set_dirt(0.4)
    assert water.dirt == pytest.approx(0.4)


def test_gap_is_washed_slower_when_deep_and_at_once_when_through() -> None:
    """Flushing falls with depth, jumps at breakthrough, and is poor without the jet."""
    left = []
    for depth_um, through, flow in (
        (0.0, True, True),
        (0.0, False, True),
        (2000.0, False, True),
        (2000.0, False, False),
    ):
        gap = GapWater(load_plant())
        gap.debris_um3 = 1e8
        gap.flush(1.0, depth_um, through, flow, False)
        left.append(gap.debris_um3)
    assert left == sorted(left)


def test_streams_are_the_same_for_the_same_seed_and_independent_of_each_other() -> None:
    """A stream depends on seed and name alone, not on what other streams drew before."""
    alone = Streams(5).named("source")
    crowd = Streams(5)
    for _ in range(3000):
        crowd.named("water").uniform()
    assert [alone.normal() for _ in range(2000)] == [crowd.named("source").normal() for _ in range(2000)]
    assert Streams(5).named("source").uniform() != Streams(6).named("source").uniform()


@pytest.mark.parametrize("path", PLANTS, ids=lambda path: path.stem)
def test_shipped_plants_load_and_drill(path: Path) -> None:
    """Every plant that ships loads over the default one and makes sparks."""
    bench = Bench(load_plant(path))
    bench.park(25.0, 3.0)
    assert bench.erosion.sparks > 50


def test_every_key_of_the_default_plant_says_why() -> None:
    """Every constant of the default plant has its source, or what it was chosen for, beside it (or heads a range)."""
    lines = [line for line in DEFAULT_PLANT.read_text().splitlines() if "=" in line and not line.startswith("#")]
    silent = [line.split(" =")[0] for line in lines if "#" not in line]
    assert set(silent) <= {"on_max_ms", "off_max_ms"}  # the upper ends of ranges whose lower ends name the source


def test_unknown_or_impossible_plant_keys_are_refused(tmp_path: Path) -> None:
    """A plant file with mistakes is refused with every mistake named."""
    overlay = tmp_path / "odd.toml"
    overlay.write_text("[wear]\ntool_scail = 1.0\n[source]\nlaw = 'pulsed'\n[water]\ndirt_scale = -1.0\n")
    with pytest.raises(SettingsError) as refused:
        load_plant(overlay)
    keys = {problem.key for problem in refused.value.problems}
    assert {"wear.tool_scail", "source.law", "water.dirt_scale"} <= keys
