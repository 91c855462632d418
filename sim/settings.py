"""The plant file: what the virtual machine really is. The controller never reads it.

Every key must be present; their home is `configs/plants/default.toml`, where each has its source beside it. A plant
file given by the user is an overlay on that one.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from controller.settings.base import Settings
from controller.settings.find import packaged_configs
from controller.settings.load import load_overlay

DEFAULT_PLANT = packaged_configs() / "plants" / "default.toml"


class Wear(Settings):
    """Electrode wear: volume lost by the tool over volume removed from the work, and how turning evens it."""

    law: Literal["even", "rising"]
    tool_scale: float = Field(ge=0)
    volumetric_ratio: float = Field(ge=0, le=1)
    rise_um: float = Field(gt=0)
    turning_spread: float = Field(ge=1, le=10)


class Crater(Settings):
    """What one discharge takes from the work."""

    energy_scale: float = Field(gt=0)
    energy_share: float = Field(gt=0, le=0.15)
    scatter: float = Field(ge=0, le=1)
    depth_to_radius: float = Field(gt=0.05, le=1)
    tool_radius_ratio: float = Field(gt=0.05, le=2)
    peak_um: float = Field(ge=0, le=50)


class Overcut(Settings):
    """How far sparks reach sideways, where the debris passes, and how much that differs from hole to hole."""

    scale: float = Field(gt=0)
    side_reach_um: float = Field(gt=0, le=400)
    load_exponent: float = Field(gt=0, le=10)
    turning_load_exponent: float = Field(gt=0, le=20)
    debris_gain: float = Field(ge=0, le=2)
    scatter: float = Field(ge=0, le=0.2)


class Ignition(Settings):
    """The hazard of a discharge for each area of gap: `rate_s_mm2` × shape(gap / reach), zero beyond the reach."""

    law: Literal["exponential", "power", "threshold"]
    rate_s_mm2: float = Field(gt=0)
    reach_um: float = Field(gt=0, le=400)
    steepness: float = Field(gt=0, le=20)
    voltage_exponent: float = Field(ge=0, le=6)
    dirt_rate_gain: float = Field(ge=0)
    dirt_reach_gain: float = Field(ge=0)


class Source(Settings):
    """The spark source: its voltages, its current limit and its drop-outs."""

    law: Literal["cut-out", "chopped"]
    open_v: float = Field(gt=0)
    burning_v: float = Field(gt=0)
    burning_scatter_v: float = Field(ge=0)
    shorted_v: float = Field(ge=0)
    off_v: float = Field(ge=0)
    limit_a: float = Field(gt=0)
    on_min_ms: float = Field(gt=0)
    on_median_ms: float = Field(gt=0)
    on_max_ms: float = Field(gt=0)
    on_log_sd: float = Field(ge=0)
    off_min_ms: float = Field(gt=0)
    off_median_ms: float = Field(gt=0)
    off_max_ms: float = Field(gt=0)
    off_log_sd: float = Field(ge=0)
    recovery_ms: float = Field(gt=0)
    chop_khz: float = Field(gt=0)
    chop_duty: float = Field(gt=0, lt=1)
    chop_burst_ms: float = Field(gt=0)
    shutoff_after_s: float = Field(gt=0)
    shutoff_s: float = Field(gt=0)
    dropout_law: Literal["lognormal", "periodic", "exponential"]
    dropout_rate_hz: float = Field(ge=0)
    dropout_rate_scale: float = Field(ge=0)
    dropout_median_ms: float = Field(gt=0)
    dropout_log_sd: float = Field(ge=0)
    dropout_min_ms: float = Field(gt=0)
    dropout_max_ms: float = Field(gt=0)
    dropout_load_dependent: bool
    dropout_load_gain: float = Field(ge=0)


class Weld(Settings):
    """Shorts: welding of a held metal contact, and bridges of debris."""

    rate_scale: float = Field(ge=0)
    rate_hz: float = Field(ge=0)
    strength_um: float = Field(gt=0)
    turning_share: float = Field(ge=0, le=1)
    tear_bend_um: float = Field(ge=0)
    bridge_rate_hz: float = Field(ge=0)
    bridge_gap_um: float = Field(gt=0)
    bridge_median_s: float = Field(gt=0)
    bridge_log_sd: float = Field(ge=0)
    bridge_flow_gain: float = Field(ge=1)
    bridge_lift_um: float = Field(gt=0)


class Water(Settings):
    """The water: conductivity and dirt over the job, flushing of the gap, etching, films on plates."""

    conductivity_us_cm: float = Field(gt=0)
    conductivity_gain: float = Field(ge=0)
    dirt_scale: float = Field(ge=0)
    dirt_volume_mm3: float = Field(gt=0)
    debris_volume_mm3: float = Field(gt=0)
    flush_rate_hz: float = Field(gt=0)
    flush_depth_um: float = Field(gt=0)
    flush_through_gain: float = Field(ge=1)
    flush_still_share: float = Field(ge=0, le=1)
    flush_turning_gain: float = Field(ge=1)
    etch_efficiency: float = Field(ge=0, le=1)
    film_s: float = Field(ge=0)
    film_um: float = Field(ge=0)
    film_rest_um: float = Field(ge=0)
    drip_um: float = Field(ge=0)
    drip_s: float = Field(ge=0)


class Rod(Settings):
    """The electrode in its holder: how far below its nominal diameter, run-out, and bending by the jet and by force."""

    undersize_um: float = Field(ge=0, le=50)
    runout_um: float = Field(ge=0)
    lean_x_mm_m: float = Field(ge=-50, le=50)
    lean_y_mm_m: float = Field(ge=-50, le=50)
    jet_bend_um: float = Field(ge=0)
    crash_um: float = Field(gt=0)
    ring_um: float = Field(gt=5, le=60)
    row_um: float = Field(gt=5, le=100)


class AxesPlant(Settings):
    """The mechanics as they really are; geometry and board settings come from the machine file."""

    backlash_um: float = Field(ge=0)
    stick_slip_um: float = Field(ge=0)
    end_room_mm: float = Field(ge=0)
    homing_speed_share: float = Field(gt=0, le=1)
    homing_pull_off_mm: float = Field(gt=0)
    homing_repeat_um: float = Field(ge=0)


class BoardPlant(Settings):
    """The motion board's delays and its smallest and slowest moves, for both conventions."""

    first_move_ms: float = Field(ge=0)
    burst_first_move_ms: float = Field(ge=0)
    lone_first_move_ms: float = Field(ge=0)
    smallest_steps: int = Field(ge=1)
    slowest_steps_s: float = Field(gt=0)
    halt_ms: float = Field(ge=0)
    ack_halt_ms: float = Field(ge=0)


Place = tuple[float, float]
Round = tuple[float, float, float]


class PlatePlant(Settings):
    """How the work lies: the height difference over 100 mm, and the bow in the middle."""

    tilt_mm: float
    bow_mm: float
    margin_mm: float = Field(gt=0)
    reference_half_mm: float = Field(gt=0)
    touch_scatter_um: float = Field(ge=0)


class Placed(Settings):
    """A plate that lies where the plant says and nowhere else, once `used` is true.

    Its corner, the height there, its turn, its rise over 100 mm and the direction of it, its size, and what is cut into
    it or stands on it (x, y, diameter in its own coordinates).
    """

    used: bool
    corner_mm: Place
    height_mm: float
    turned_deg: float
    tilt_mm: float
    tilt_towards_deg: float
    size_mm: tuple[float, float]
    window_mm: tuple[float, float, float, float]
    bores_mm: tuple[Round, ...]
    bosses_mm: tuple[Round, ...]
    boss_height_mm: float = Field(gt=0)


class SamplerPlant(Settings):
    """The sampler's own errors."""

    noise_mv: float = Field(ge=0)
    contact_ohm: float = Field(ge=0)


class ContactsPlant(Settings):
    """Timing of the switched outputs and of the fail-safe gate."""

    link_ms: float = Field(ge=0)
    source_close_ms: float = Field(ge=0)
    source_open_ms: float = Field(ge=0)
    sensing_ms: float = Field(ge=0)
    hold_up_ms: float = Field(gt=0)
    pump_up_edges: int = Field(ge=1)
    pump_drop_s: float = Field(gt=0)
    flow_on_s: float = Field(ge=0)
    flow_off_s: float = Field(ge=0)


class PlantSettings(Settings):
    """Everything that is true of one plant."""

    wear: Wear
    crater: Crater
    overcut: Overcut
    ignition: Ignition
    source: Source
    weld: Weld
    water: Water
    rod: Rod
    axes: AxesPlant
    board: BoardPlant
    plate: PlatePlant
    placed: Placed
    sampler: SamplerPlant
    contacts: ContactsPlant


def load_plant(path: Path | None = None) -> PlantSettings:
    """The default plant, or the overlay at `path` laid over it; raises SettingsError with every mistake."""
    return load_overlay(DEFAULT_PLANT, path, PlantSettings)
