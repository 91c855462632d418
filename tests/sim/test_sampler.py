"""The sampler: front ends, sensing path, sampling grid, converter and noise."""

from __future__ import annotations

from math import inf
from statistics import fmean, pstdev
from typing import Literal

import pytest

from sim.random import Streams
from sim.sampler import Sampler, clamped_v, divided_v
from sim.settings import load_plant

LSB_V = 5.0 / 1024.0


def sampler(front_end: Literal["clamp", "divider", "biased"] = "clamp", noise_mv: float = 0.0) -> Sampler:
    plant = load_plant().sampler.model_copy(update={"noise_mv": noise_mv})
    return Sampler(front_end, 2200.0, 5.0, plant, Streams(3).named("sampler").normal)


def volts(readings: list[int]) -> float:
    """Middle of the converter steps read."""
    return (fmean(readings) + 0.5) * LSB_V


@pytest.mark.parametrize(
    ("ohm", "series_ohm", "expected_v"),
    [
        # electrics.md: leak through a 30 um film under a 1.2 mm rod, 500 and 1500 uS/cm, with 2.2 kΩ and with 1 kΩ.
        (530.0, 2200.0, 0.97),
        (177.0, 2200.0, 0.37),
        (530.0, 1000.0, 1.73),
        (177.0, 1000.0, 0.75),
        (530.0, 100_000.0, 0.0264),
        (177.0, 100_000.0, 0.0088),
    ],
)
def test_the_sensing_path_reads_the_leaks_of_the_requirement_table(
    ohm: float, series_ohm: float, expected_v: float
) -> None:
    plant = load_plant().sampler
    pin_v = Sampler("clamp", series_ohm, 5.0, plant, Streams(1).named("sampler").normal).sensing_v(ohm)
    assert pin_v == pytest.approx(expected_v, rel=0.02)


def test_metal_contact_reads_below_a_tenth_of_a_volt_and_open_reads_full() -> None:
    # electrics.md: metal contact reads below 0.1 V.
    assert volts(sampler().sensing(load_plant().sampler.contact_ohm, 0.01)) < 0.1
    assert sampler().sensing(inf, 0.01) == [1023] * 10


def test_sensing_off_reads_below_the_proof_of_isolation() -> None:
    # electrics.md: sensing off, pin below 0.2 V.
    readings = sampler(noise_mv=8.0).dead(1.0)
    assert max(readings) * LSB_V < 0.2


def test_the_clamp_is_linear_low_down_and_cannot_tell_open_from_burning() -> None:
    # electrics.md: linear below 3 V, saturated above: open (64 V) and burning (22 V) look the same.
    for gap_v in (0.1, 0.5, 1.0, 2.0):
        assert clamped_v(gap_v) == pytest.approx(gap_v, rel=0.01)
    assert clamped_v(22.0) == clamped_v(64.0) == 3.0


def test_the_divider_tells_open_burning_and_short_apart() -> None:
    # electrics.md: |U| scaled 64 V to 4.5 V.
    assert divided_v(64.0) == pytest.approx(4.5)
    assert divided_v(22.0) == pytest.approx(1.547, rel=0.001)
    assert divided_v(0.1) < 0.01


@pytest.mark.parametrize(("front_end", "open_v"), [("clamp", 3.0), ("divider", 4.5), ("biased", 3.0)])
def test_an_open_gap_reads_the_top_of_each_front_end(
    front_end: Literal["clamp", "divider", "biased"], open_v: float
) -> None:
    assert volts(sampler(front_end).live([(0.01, 64.0)], False, inf)) == pytest.approx(open_v, abs=LSB_V)


def test_with_bias_a_drop_out_over_an_open_gap_reads_high_and_only_contact_reads_low() -> None:
    # electrics.md: a drop-out over an open gap still reads high and only a real short reads below 0.1 V.
    biased = sampler("biased")
    assert volts(biased.live([(0.01, 0.0)], False, inf)) > 1.9
    loaded_ohm = 1800.0 * 530.0 / 2330.0  # the shunt beside the leak of a wet 30 µm gap (electrics.md)
    assert volts(biased.live([(0.01, 0.0)], False, 530.0)) == pytest.approx(
        4.4 * loaded_ohm / (loaded_ohm + 2200.0), rel=0.02
    )
    assert volts(biased.live([(0.01, 0.0)], False, 177.0)) > 0.2
    assert volts(biased.live([(0.01, 0.05)], True, inf)) < 0.1
    assert volts(sampler("clamp").live([(0.01, 0.0)], False, inf)) < 0.1


def test_samples_stand_a_millisecond_apart_whatever_the_pieces() -> None:
    whole, pieces = sampler(), sampler()
    expected = [len(whole.dead(0.01)) for _ in range(50)]
    assert expected == [10] * 50
    got = 0
    for n in range(1000):
        got += len(pieces.dead(0.0005 if n % 2 else 0.0003))
    assert got == 400


def test_a_sample_sees_the_segment_it_falls_into() -> None:
    segments = [(0.0025, 64.0), (0.0060, 0.0), (0.0061, 22.5), (0.01, 64.0)]
    readings = sampler("divider").live(segments, False, inf)
    high, low = round(4.5 / LSB_V - 0.5), 0
    assert readings == [high, high, low, low, low, low, high, high, high, high]


def test_a_discharge_shorter_than_the_interval_can_fall_between_two_samples() -> None:
    readings = sampler("divider").live([(0.0011, 64.0), (0.0019, 0.0), (0.01, 64.0)], False, inf)
    assert min(readings) > 900


def test_noise_has_the_size_asked_for_and_never_leaves_the_converter() -> None:
    readings = sampler("divider", noise_mv=20.0).live([(2.0, 32.0)], False, inf)
    assert pstdev(readings) * LSB_V == pytest.approx(0.020, rel=0.1)
    low = sampler(noise_mv=50.0).dead(1.0)
    assert min(low) == 0
    top = sampler(noise_mv=50.0).sensing(inf, 1.0)
    assert max(top) == 1023


def test_the_same_seed_gives_the_same_readings() -> None:
    first, second = sampler(noise_mv=8.0), sampler(noise_mv=8.0)
    assert first.sensing(530.0, 0.5) == second.sensing(530.0, 0.5)


def test_samples_stand_a_millisecond_apart_across_pieces_of_a_live_tick() -> None:
    board = sampler("divider")
    got = [len(board.live([(0.0003, 64.0), (0.0007, 22.5)], False, inf)) for _ in range(100)]
    assert sum(got) == 70
    assert max(got) == 1


def test_with_bias_only_the_last_segment_of_a_short_that_began_reads_as_metal() -> None:
    readings = sampler("biased").live([(0.0045, 0.4), (0.01, 0.1)], True, inf)
    assert min(readings[:4]) * LSB_V > 1.9
    assert max(readings[4:]) * LSB_V <= 0.1
