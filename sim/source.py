"""The spark source: how long a discharge burns, how long its output stays away, and when it drops out by itself."""

from __future__ import annotations

from math import exp, inf, log

from controller.settings.units import S_PER_MS
from sim.random import Draws
from sim.settings import PlantSettings

# A periodic drop-out is only nearly so (electrics.md): its period varies by this share. Chosen.
PERIOD_SCATTER = 0.05


class Source:
    """Draws what the source does next. Voltages in V, times in s, energies in J."""

    __slots__ = ("_draws", "_drops", "_plant", "_until_drop", "chopped", "open_v", "shorted_v")

    def __init__(self, plant: PlantSettings, draws: Draws, drops: Draws) -> None:
        self._plant = plant.source
        self._draws = draws
        self._drops = drops
        self.chopped = plant.source.law == "chopped"
        self.open_v = plant.source.open_v
        self.shorted_v = plant.source.shorted_v
        self._until_drop = inf
        self._arm()

    def burning_v(self) -> float:
        """The gap voltage of one discharge."""
        return self._plant.burning_v + self._plant.burning_scatter_v * self._draws.normal()

    def on_s(self) -> float:
        """How long a discharge burns."""
        plant = self._plant
        if self.chopped:
            return plant.chop_burst_ms * S_PER_MS * max(0.2, self._draws.exponential())
        drawn_ms = plant.on_median_ms * exp(plant.on_log_sd * self._draws.normal())
        return min(max(drawn_ms, plant.on_min_ms), plant.on_max_ms) * S_PER_MS

    def off_s(self) -> float:
        """How long the output stays away after a discharge."""
        plant = self._plant
        if self.chopped:
            return (1.0 - plant.chop_duty) * S_PER_MS / plant.chop_khz
        drawn_ms = plant.off_median_ms * exp(plant.off_log_sd * self._draws.normal())
        return min(max(drawn_ms, plant.off_min_ms), plant.off_max_ms) * S_PER_MS

    def energy_j(self, burning_v: float, on_s: float) -> float:
        """What a discharge puts into the gap: never more than gap voltage x current x time."""
        duty = self._plant.chop_duty if self.chopped else 1.0
        return burning_v * self._plant.limit_a * on_s * duty

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

    def _arm(self) -> None:
        rate_hz = self._plant.dropout_rate_hz * self._plant.dropout_rate_scale
        if rate_hz <= 0.0:
            self._until_drop = inf
        elif self._plant.dropout_law == "periodic":
            self._until_drop = (1.0 + PERIOD_SCATTER * self._drops.normal()) / rate_hz
        else:
            self._until_drop = self._drops.exponential() / rate_hz
