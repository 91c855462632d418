"""What shorts the gap beside a spark: a weld that holds, a bridge of debris that ends by itself."""

from __future__ import annotations

from math import exp, inf
from typing import Final

from sim.electrode import ElectrodeTruth
from sim.random import Draws
from sim.settings import PlantSettings

# A welded electrode that is turned breaks loose at this rate. Chosen: within a second or so.
TWIST_RATE_HZ: Final = 2.0
# No weld holds longer than this many times the mean. Chosen: the rod's tip tears before.
STRONGEST: Final = 4.0
# Lift beyond this many of `bridge_lift_um` changes nothing more: the bridge is gone at once. Keeps exp in range.
LIFT_LIMIT: Final = 8.0


class Bridge:
    """Debris that bridges the gap."""

    __slots__ = ("_budget", "_draws", "_left_s", "_plant", "active", "from_um")

    def __init__(self, plant: PlantSettings, draws: Draws) -> None:
        self._plant = plant.weld
        self._draws = draws
        self._left_s = 0.0
        self._budget = draws.exponential()
        self.active = False
        self.from_um = 0.0

    def gather(self, dt_s: float, rate_hz: float, tip_um: float) -> None:
        """Debris gathers for `dt_s`; it may bridge."""
        self._budget -= rate_hz * dt_s
        if self._budget <= 0.0:
            self._budget = self._draws.exponential()
            self.form(tip_um)

    def form(self, tip_um: float) -> None:
        """A bridge forms now."""
        plant = self._plant
        self.active = True
        self.from_um = tip_um
        self._left_s = plant.bridge_median_s * exp(plant.bridge_log_sd * self._draws.normal())

    def last(self, seconds: float) -> None:
        """It would stand for so long by itself."""
        self._left_s = seconds

    def age(self, dt_s: float, tip_um: float, flow: bool) -> None:
        """Let it end by itself: sooner with the jet, sooner the more the gap opens."""
        plant = self._plant
        lift = min((tip_um - self.from_um) / plant.bridge_lift_um, LIFT_LIMIT)
        self._left_s -= dt_s * (plant.bridge_flow_gain if flow else 1.0) * exp(max(lift, 0.0))
        if self._left_s <= 0.0:
            self.active = False


class Weld:
    """A tip that stuck to the work."""

    __slots__ = ("_draws", "_electrode", "_face_um", "_plant", "_strength_um", "held")

    def __init__(self, plant: PlantSettings, draws: Draws, electrode: ElectrodeTruth) -> None:
        self._plant = plant.weld
        self._draws = draws
        self._electrode = electrode
        self._strength_um = 0.0
        self._face_um = 0.0
        self.held = False

    def hold(self, dt_s: float, face_um: float, turning: bool) -> None:
        """Contact (of metal, or through a bridge, which melts together) under current for `dt_s`: it may weld."""
        plant = self._plant
        rate_hz = plant.rate_hz * plant.rate_scale * (plant.turning_share if turning else 1.0)
        if self._draws.uniform() < 1.0 - exp(-rate_hz * dt_s):
            self.held = True
            self._face_um = face_um
            self._strength_um = plant.strength_um * min(self._draws.exponential(), STRONGEST)

    def hold_for_good(self) -> None:
        """A fault: it holds whatever pulls."""
        self.held = True
        self._strength_um = inf

    def strain(self, dt_s: float, face_um: float, turning: bool) -> None:
        """The axis stands at `face_um`; a turning spindle twists."""
        self.pull(face_um - self._face_um)
        if self.held and turning and self._draws.uniform() < 1.0 - exp(-TWIST_RATE_HZ * dt_s):
            self.free()

    def pull(self, lift_um: float) -> None:
        """The axis has been lifted by this much since it welded: it tears off once that is more than it holds."""
        if self.held and lift_um > self._strength_um:
            self.free()

    def free(self) -> None:
        """Torn (or worked) off; the rod may be left a little bent."""
        self.held = False
        self._electrode.bend_um += self._plant.tear_bend_um * self._draws.exponential()
