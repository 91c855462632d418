"""What is unusual about a drawn plant, in words: for the reader of a table who asks why."""

from __future__ import annotations

from tests.benchmarks.draw import RANGES, Drawn, laws, strayed

# Keys named as extreme: so many of them, those that stray most. Chosen so that they fit in a line.
NAMED = 6
# What several keys make together, by what each does to it: an octave of each key is this many octaves of the whole.
TOGETHER: dict[str, dict[str, float]] = {
    "removal a spark": {
        "crater.energy_scale": 1.0, "crater.energy_share": 1.0, "source.burning_v": 1.0, "source.limit_a": 1.0,
        "source.on_median_ms": 1.0,
    },
    "wear": {"wear.tool_scale": 1.0, "wear.volumetric_ratio": 1.0},
    "face reach": {"ignition.reach_um": 1.0},
    "side reach": {"overcut.scale": 1.0, "overcut.side_reach_um": 1.0},
    "ignition": {"ignition.rate_s_mm2": 1.0},
    "steepness": {"ignition.steepness": 1.0},
    "bridges": {"weld.bridge_rate_hz": 1.0, "weld.bridge_median_s": 1.0},
    "welds": {"weld.rate_hz": 1.0, "weld.rate_scale": 1.0},
    "drop-outs": {"source.dropout_rate_hz": 1.0, "source.dropout_rate_scale": 1.0, "source.dropout_median_ms": 1.0},
    "ridges over reach": {"crater.peak_um": 1.0, "ignition.reach_um": -1.0},
    "spark pause": {"source.off_median_ms": 1.0},
    "dirt": {"water.dirt_scale": 1.0, "water.debris_volume_mm3": -1.0, "water.flush_rate_hz": -1.0},
}  # fmt: skip


def unusual(drawn: Drawn) -> list[str]:
    """The laws; what strays by more than an octave together; geometry and water; the keys that stray most; guesses."""
    octaves = strayed(drawn.plant)
    sums = {name: sum(w * octaves[key] for key, w in parts.items()) for name, parts in TOGETHER.items()}
    plant = drawn.plant
    ordinary = {"even", "exponential", "cut-out", "lognormal", False}
    own_laws = [f"{key} {law}" for key, law in laws(plant).items() if key == "ignition.law" or law not in ordinary]
    far = sorted((key for key in octaves if key not in RANGES), key=lambda key: -abs(octaves[key]))[:NAMED]
    lie = f"backlash {plant.axes.backlash_um:.0f} µm, tilt {plant.plate.tilt_mm:.2f}, bow {plant.plate.bow_mm:.2f} mm"
    return [
        ", ".join(own_laws),
        ", ".join(f"{name} ×{2**octave:.2g}" for name, octave in sums.items() if abs(octave) > 0.7),
        f"{lie}, {plant.water.conductivity_us_cm:.0f} µS/cm",
        "extreme " + ", ".join(f"{key} ×{2 ** octaves[key]:.2f}" for key in far),
        "guessed " + ", ".join(f"{name} ×{factor:.2f}" for name, factor in drawn.guessed.items()),
    ]
