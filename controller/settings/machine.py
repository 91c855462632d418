"""The machine file: what the maker knows of mechanics, boards and source. Beliefs, never the plant's truth.

Defaults are those of the shipped virtual machine. Source, sensing feed and sampler: electrics.md and wires.md.
Drop-outs: the range of electrics.md (10 to 400 ms). Play: 30 to 50 µm on soft axes (references §6). Steps, speeds and
travel of a stock three-axis machine, and all places and lengths: common practice, no source. Bounds on voltages and
current keep out what is no such source: chosen.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from controller.settings.base import NAME_PATTERN, Settings
from controller.settings.units import UM_PER_MM

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Triple = tuple[float, float, float]
PositiveTriple = tuple[Positive, Positive, Positive]
NotNegativeTriple = tuple[NotNegative, NotNegative, NotNegative]

Slope = Annotated[float, Field(ge=-100, le=100)]
"""A plate that leans by more than 100 mm in a metre (6°) was not clamped to be drilled from above. Chosen."""

ACK_BURST_STEPS = 18
"""Steps of the smallest burst an `ack` board carries out: three lines of six steps (wires.md, measured on stock boards:
fewer than six steps are swallowed, fewer than three lines wait about 106 ms)."""


class Axes(Settings):
    """Three linear axes, x y z; z is the holder's face, up is positive, homed at the top of its travel."""

    steps_per_mm: PositiveTriple = (80.0, 80.0, 400.0)
    travel_min_mm: Triple = (0.0, 0.0, -90.0)
    travel_max_mm: Triple = (220.0, 220.0, 0.0)
    top_speed_mm_s: PositiveTriple = (60.0, 60.0, 10.0)
    acceleration_mm_s2: PositiveTriple = (500.0, 500.0, 300.0)
    backlash_um: NotNegativeTriple = (40.0, 40.0, 40.0)
    home_mm: Triple = (1.0, 1.0, -1.0)
    """Where the axes stand, in the machine frame, when the board has finished homing (pulled off its switches)."""


class Motion(Settings):
    """How the motion board is spoken to."""

    convention: Literal["status", "ack"] = "status"
    port: str = ""
    baud: int = Field(115200, gt=0)


class Pins(Settings):
    """Where everything hangs on the sampler board, by its digital pin numbers; `gap_channel` counts analog inputs.

    Inputs are pulled up and closed to ground by a contact that is closed when all is well (mirror contact: source away;
    flow: runs; stop: not pressed; guard: closed; level: enough), so a broken wire reads as trouble. Outputs are high
    for on, with a pull-down each (electrics.md). The defaults are free pins of the stock board, the inputs all in one
    port: chosen.
    """

    gap_channel: int = Field(0, ge=0, le=15)  # the protocol's analog messages carry four bits of channel
    source: int = Field(4, ge=0, le=127)  # the protocol's pin numbers are 7-bit data bytes
    sensing: int = Field(5, ge=0, le=127)
    heartbeat: int = Field(6, ge=0, le=127)
    pump: int = Field(7, ge=0, le=127)
    mirror_contact: int = Field(8, ge=0, le=127)
    flow: int = Field(9, ge=0, le=127)
    stop: int = Field(10, ge=0, le=127)
    guard: int = Field(11, ge=0, le=127)
    level: int = Field(12, ge=0, le=127)


class Sampler(Settings):
    """How the sampler board is spoken to, and the front end that brings the gap voltage to its pin."""

    port: str = ""
    baud: int = Field(57600, gt=0)
    front_end: Literal["clamp", "divider", "biased"] = "clamp"
    full_scale_v: float = Field(5.0, gt=0)
    sensing_series_ohm: float = Field(2200.0, gt=0)
    pins: Pins = Pins()


class Source(Settings):
    """The spark source as its plate states it."""

    open_v: float = Field(64.0, gt=40, le=100)
    burning_v: float = Field(22.5, gt=10, lt=40)
    limit_a: float = Field(10.0, gt=0, le=30)
    polarity: Literal["tool-negative"] = "tool-negative"


class DropOuts(Settings):
    """The source's own drop-outs with the electrode parked clear, as `check` measured them: a prior, nothing more."""

    rate_hz: float = Field(0.3, ge=0)
    median_s: float = Field(0.06, gt=0)
    longest_s: float = Field(0.4, gt=0)


class ReferencePlate(Settings):
    """The grounded plate on which the electrode is measured: where to touch, and its height (machine frame)."""

    x_mm: float = 10.0
    y_mm: float = 10.0
    height_mm: float = -60.0
    height_u_mm: float = Field(0.005, ge=0)


class WorkPlace(Settings):
    """Where the work stands: the job's origin and rotation in the machine frame, and how high its face is there."""

    origin_mm: tuple[float, float] = (40.0, 40.0)
    rotation_deg: float = 0.0
    slope_mm_m: tuple[Slope, Slope] = (0.0, 0.0)
    """How much the face rises over the machine's x and y, in mm per metre; `locate` finds it."""
    surface_height_mm: float = -60.0
    surface_height_u_mm: float = Field(2.0, gt=0)
    clear_height_mm: float = Field(5.0, ge=1.0)


class KeepOut(Settings):
    """Something that stands on the table: a rectangle and the height of its top (machine frame)."""

    name: str = Field("post", min_length=1)
    from_mm: tuple[float, float]
    to_mm: tuple[float, float]
    height_mm: float

    @model_validator(mode="after")
    def _has_sides(self) -> KeepOut:
        if self.from_mm[0] == self.to_mm[0] or self.from_mm[1] == self.to_mm[1]:
            raise ValueError("from_mm and to_mm must be opposite corners of a rectangle, apart in x and in y")
        return self


class Holder(Settings):
    """How far the rod stands out below the holder's face: after an advance, and at the least; the holder's size."""

    protrusion_mm: float = Field(45.0, gt=0)
    protrusion_u_mm: float = Field(2.0, gt=0)
    min_protrusion_mm: float = Field(22.0, gt=0)
    radius_mm: float = Field(20.0, gt=0)


class Spindle(Settings):
    """An optional spindle that turns the electrode."""

    fitted: bool = False
    rev_min: float = Field(120.0, ge=0)
    top_rev_min: float = Field(120.0, gt=0)
    """Speed at full output: an `ack` board is told a share of it, a `status` board the speed itself."""


class Water(Settings):
    """The jet: how long it takes to flow, and how long a drained film needs before a touch."""

    flow_timeout_s: float = Field(3.0, gt=0)
    drip_pause_s: float = Field(6.0, ge=0)


class Machine(Settings):
    """Everything the host believes about the machine."""

    name: str = Field(min_length=1, pattern=NAME_PATTERN)
    tick_hz: int = Field(100, ge=50, le=200)
    axes: Axes = Axes()
    motion: Motion = Motion()
    sampler: Sampler = Sampler()
    source: Source = Source()
    drop_outs: DropOuts = DropOuts()
    reference_plate: ReferencePlate = ReferencePlate()
    work_place: WorkPlace = WorkPlace()
    holder: Holder = Holder()
    spindle: Spindle = Spindle()
    water: Water = Water()
    keep_out: tuple[KeepOut, ...] = ()

    @property
    def useful_move_um(self) -> float:
        """The smallest feed move (z, µm) worth sending: one step, or on `ack` boards three lines of six steps."""
        steps = ACK_BURST_STEPS if self.motion.convention == "ack" else 1
        return steps * UM_PER_MM / self.axes.steps_per_mm[2]
