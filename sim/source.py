"""The spark source: how long a discharge burns, how long its output stays away, and when it drops out by itself."""

from __future__ import annotations

from math import exp, inf, log
from typing import Final

import numpy as np

from controller.settings.units import S_PER_MS
from sim.random import Draws
from sim.settings import PlantSettings

# A periodic drop-out is only nearly so (electrics.md): its period varies by this share. Chosen.
PERIOD_SCATTER: Final = 0.05
# No arc burns at less than this share of its usual voltage. Chosen: beyond any draw of the default plant; a source with
# a wide scatter would else draw energies below nothing.
LEAST_BURNING: Final = 0.5


class Source:
    """Draws what the source does next. Voltages in V, times in s, energies in J."""

    __slots__ = (
        "_draws",
        "_drops",
        "_off",
        "_on",
        "_plant",
        "_until_drop",
        "_volts",
        "chopped",
        "open_v",
        "rate_gain",
        "shorted_v",
    )

    def __init__(self, plant: PlantSettings, draws: Draws, drops: Draws) -> None:
        self._plant = plant.source
        self._draws = draws
        self._drops = drops
        self._on: list[float] = []
        self._off: list[float] = []
        self._volts: list[float] = []
        self.chopped = plant.source.law == "chopped"
        self.open_v = plant.source.open_v
        self.shorted_v = plant.source.shorted_v
        self._until_drop = inf
        self.rate_gain = 1.0  # a fault: drop-outs so many times as often
        self._arm()

    def burning_v(self) -> float:
        """The gap voltage of one discharge."""
        if not self._volts:
            plant = self._plant
            drawn_v = plant.burning_v + plant.burning_scatter_v * self._draws.normals()
            self._volts = np.maximum(drawn_v, LEAST_BURNING * plant.burning_v).tolist()
        return self._volts.pop()

    def on_s(self) -> float:
        """How long a discharge burns."""
        if not self._on:
            plant, normals = self._plant, self._draws.normals()
            median_ms = plant.chop_burst_ms if self.chopped else plant.on_median_ms
            longest_ms = inf if self.chopped else plant.on_max_ms
            drawn_ms = np.clip(median_ms * np.exp(plant.on_log_sd * normals), plant.on_min_ms, longest_ms)
            self._on = (drawn_ms * S_PER_MS).tolist()
        return self._on.pop()

    def off_s(self) -> float:
        """How long the output stays away after a discharge: for a chopped source only until the next chop."""
        if self.chopped:
            return (1.0 - self._plant.chop_duty) * S_PER_MS / self._plant.chop_khz
        if not self._off:
            plant, normals = self._plant, self._draws.normals()
            drawn_ms = np.clip(
                plant.off_median_ms * np.exp(plant.off_log_sd * normals), plant.off_min_ms, plant.off_max_ms
            )
            self._off = (drawn_ms * S_PER_MS).tolist()
        return self._off.pop()

    def energy_j(self, burning_v: float, on_s: float) -> float:
        """What a discharge puts into the gap: never more than gap voltage x current x time."""
        duty = self._plant.chop_duty if self.chopped else 1.0
        return burning_v * self._plant.limit_a * on_s * duty

    def chop(self, now_s: float, end_s: float, burning_v: float, segments: list[tuple[float, float]]) -> None:
        """Add burning voltage and nothing in turns, at the chopping frequency, from `now_s` to `end_s`."""
        plant = self._plant
        period_s = S_PER_MS / plant.chop_khz
        while now_s < end_s:
            segments.append((min(now_s + plant.chop_duty * period_s, end_s), burning_v))
            now_s += period_s
            if segments[-1][0] < end_s:
                segments.append((min(now_s, end_s), plant.off_v))

    def until_drop_s(self, dt_s: float, load: float) -> float:
        """Time to the next drop-out from now, under a load of 0 to 1; inf when none falls within `dt_s`."""
        gain = 1.0 + self._plant.dropout_load_gain * load if self._plant.dropout_load_dependent else 1.0
        if self._until_drop > dt_s * gain:
            self._until_drop -= dt_s * gain
            return inf
        at_s = self._until_drop / gain
        self._arm()
        return at_s

    def drop_s(self) -> float:
        """How long a drop-out lasts."""
        plant = self._plant
        if plant.dropout_law == "lognormal":
            drawn_ms = plant.dropout_median_ms * exp(plant.dropout_log_sd * self._drops.normal())
        elif plant.dropout_law == "exponential":
            drawn_ms = plant.dropout_median_ms / log(2.0) * self._drops.exponential()
        else:
            drawn_ms = plant.dropout_median_ms * (1.0 + PERIOD_SCATTER * self._drops.normal())
        return min(max(drawn_ms, plant.dropout_min_ms), plant.dropout_max_ms) * S_PER_MS

    def drop_outs_by(self, gain: float) -> None:
        """From now on so many times as often."""
        self.rate_gain = gain
        self._arm()

    def _arm(self) -> None:
        rate_hz = self._plant.dropout_rate_hz * self._plant.dropout_rate_scale * self.rate_gain
        if rate_hz <= 0.0:
            self._until_drop = inf
        elif self._plant.dropout_law == "periodic":
            self._until_drop = (1.0 + PERIOD_SCATTER * self._drops.normal()) / rate_hz
        else:
            self._until_drop = self._drops.exponential() / rate_hz
