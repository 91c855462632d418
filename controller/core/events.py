"""What the core tells the world: facts, each once, in the order they happened.

Events are the only record of a run. The journal stores them, the report is made from them, the screen shows them.
Every event carries the machine time of its tick; lengths are in millimetres, times in seconds, fractions 0 to 1.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final


@dataclass(slots=True, frozen=True)
class Event:
    """Something that happened at machine time `time_s`."""

    time_s: float

    @property
    def kind(self) -> str:
        """The event's name in journals and on the bus: its class name."""
        return type(self).__name__

    def row(self) -> dict[str, Any]:
        """The event as plain JSON-ready fields, its kind first."""
        return {"kind": self.kind, **asdict(self)}


@dataclass(slots=True, frozen=True)
class PhaseChanged(Event):
    """The phase machine moved from one phase to another on a trigger."""

    before: str
    trigger: str
    after: str


@dataclass(slots=True, frozen=True)
class Said(Event):
    """What the machine is doing now, in words for the operator."""

    text: str


@dataclass(slots=True, frozen=True)
class Proven(Event):
    """The source was proven isolated from the electrode (readings in volts at the pin)."""

    off_reading_v: float
    open_reading_v: float


@dataclass(slots=True, frozen=True)
class Touched(Event):
    """One confirmed metal contact on the sensing path; axis position in mm, spread over the repeats."""

    purpose: str
    x_mm: float
    y_mm: float
    axis_z_mm: float
    spread_mm: float
    wet: bool


@dataclass(slots=True, frozen=True)
class SideTouched(Event):
    """A wall met by the rod's side on the sensing path, going `toward` +x, -x, +y or -y; axis position in mm.

    `lost_mm` is the motion lost between contact and release.
    """

    purpose: str
    toward: str
    x_mm: float
    y_mm: float
    axis_z_mm: float
    spread_mm: float
    lost_mm: float
    wet: bool


@dataclass(slots=True, frozen=True)
class WaterSensed(Event):
    """Limits of the water's conductivity, from its leak while a fresh end came down onto metal."""

    low_us_cm: float
    high_us_cm: float
    hole: int


@dataclass(slots=True, frozen=True)
class PlayFound(Event):
    """What the feed axis loses at a reversal, from letting go of the reference plate; and what was believed (µm)."""

    play_um: float
    believed_um: float


@dataclass(slots=True, frozen=True)
class SurfaceMapped(Event):
    """Work surface z = a + b·x + c·y + twist·(x - x0)·(y - y0) in machine mm, its largest residual and uncertainty."""

    a_mm: float
    b: float
    c: float
    twist: float
    x0_mm: float
    y0_mm: float
    largest_residual_mm: float
    u_mm: float


@dataclass(slots=True, frozen=True)
class ElectrodeMeasured(Event):
    """The tip length, measured on the reference plate, against what was predicted; seconds it cost, drip pause in."""

    tip_length_mm: float
    u_mm: float
    predicted_mm: float
    predicted_u_mm: float
    stock_mm: float
    hole: int
    seconds: float


@dataclass(slots=True, frozen=True)
class ElectrodeAdvanced(Event):
    """The operator pushed the electrode down and it was measured again."""

    tip_length_mm: float
    stock_mm: float
    count: int


@dataclass(slots=True, frozen=True)
class Checkpoint(Event):
    """What is believed of the electrode (`Electrode.belief`) and of the sparks that a µm costs (0: not known yet).

    Told whenever it has changed for good, for a run that has to be taken up from here.
    """

    belief: tuple[float, ...]
    sparks_per_um: float


@dataclass(slots=True, frozen=True)
class RunResumed(Event):
    """The run is taken up again: how it had ended (`broke off` without a word), holes made, the one begun (0: none)."""

    after: str
    finished: int
    begun: int


@dataclass(slots=True, frozen=True)
class Recentred(Event):
    """A finished hole was touched from inside: how far its middle is from where it should be, and what is allowed."""

    hole: int
    off_x_mm: float
    off_y_mm: float
    allowed_mm: float


@dataclass(slots=True, frozen=True)
class HoleStarted(Event):
    """The electrode stands above a hole and is about to approach."""

    hole: int
    x_mm: float
    y_mm: float
    tip_length_mm: float
    tip_length_u_mm: float


@dataclass(slots=True, frozen=True)
class HoleProgress(Event):
    """Depth of the axis below first spark, the estimated tip depth, and gap-state shares since the last report."""

    hole: int
    feed_mm: float
    tip_depth_mm: float
    open_share: float
    spark_share: float
    short_share: float
    off_share: float
    sparks_per_s: float


@dataclass(slots=True, frozen=True)
class BrokeThrough(Event):
    """The tip pierced the far face, at this axis feed below first spark."""

    hole: int
    feed_mm: float
    cause: str


@dataclass(slots=True, frozen=True)
class HoleFinished(Event):
    """A hole is over. `outcome` is `through`, `undersize` or `failed`; `reason` says why when it is not `through`."""

    hole: int
    x_mm: float
    y_mm: float
    outcome: str
    reason: str
    start_s: float
    seconds: float
    erode_s: float
    depth_mm: float
    wear_mm: float
    over_travel_mm: float
    exit_diameter_mm: float
    exit_diameter_u_mm: float
    shorts: int
    recoveries: int


@dataclass(slots=True, frozen=True)
class HoleDoubted(Event):
    """A hole that was told as finished turns out not to be: it is made again."""

    hole: int
    why: str


@dataclass(slots=True, frozen=True)
class ShortBegan(Event):
    """A short circuit was declared while eroding or approaching."""

    hole: int
    feed_mm: float


DROP_OUT: Final = "drop-out of the source"


@dataclass(slots=True, frozen=True)
class ShortEnded(Event):
    """A short circuit is over. `rung` is the rung of the ladder that ended it; `cause` is what it was taken for."""

    hole: int
    rung: int
    seconds: float
    cause: str


@dataclass(slots=True, frozen=True)
class SourceLearned(Event):
    """What the run came to believe of the source's drop-outs under load: how often, how long, and how long hardly ever.

    `live_s` is the time the source was on.
    """

    drop_out_hz: float
    drop_out_median_s: float
    drop_out_longest_s: float
    live_s: float


@dataclass(slots=True, frozen=True)
class PromptRaised(Event):
    """The operator is needed. `choices` are the answers taken; `planned` tells a planned advance from a rescue."""

    prompt: int
    topic: str
    what_happened: str
    what_to_do: str
    what_next: str
    choices: tuple[str, ...]
    planned: bool
    hole: int = 0


@dataclass(slots=True, frozen=True)
class PromptAnswered(Event):
    """The operator answered. Believed only after it was proved."""

    prompt: int
    choice: str
    reading: str


@dataclass(slots=True, frozen=True)
class SourceOpenedHot(Event):
    """The source contact opened under current; counted, since it wears the contact."""

    count: int
    why: str


@dataclass(slots=True, frozen=True)
class CommandRefused(Event):
    """The interlocks refused a command: a fault of the program, never of the operator."""

    command: str
    why: str


@dataclass(slots=True, frozen=True)
class FaultTripped(Event):
    """A guard tripped: the cause by name, what it means and what clears it."""

    cause: str
    meaning: str
    remedy: str


@dataclass(slots=True, frozen=True)
class Noticed(Event):
    """Something beside the job worth a line in the record; `where` is `board`, `sampler`, `loop` or `telling`."""

    where: str
    what: str


@dataclass(slots=True, frozen=True)
class TicksMissed(Event):
    """Ticks that were due and left out since the last such event, the worst lateness (s), and the count so far.

    A late tick is never made up for: that would be a burst of heartbeat edges without a look in between.
    """

    ticks: int
    worst_s: float
    total: int


@dataclass(slots=True, frozen=True)
class Arrived(Event):
    """The axes stand where they were sent, or where the tip met metal on the way (axis positions in mm)."""

    x_mm: float
    y_mm: float
    z_mm: float
    met: bool


@dataclass(slots=True, frozen=True)
class Figure:
    """One measured figure of a check, with its unit and how many decimals mean something."""

    name: str
    figure: float
    unit: str
    decimals: int = 0

    def words(self) -> str:
        """The figure as it is printed."""
        return f"{self.name} {self.figure:.{self.decimals}f} {self.unit}".rstrip()


@dataclass(slots=True, frozen=True)
class Checked(Event):
    """One check of commissioning is over: `pass`, `fail` or `not done`, what was found, and what is to be done."""

    name: str
    title: str
    outcome: str
    words: str
    remedy: str = ""
    figures: tuple[Figure, ...] = ()


@dataclass(slots=True, frozen=True)
class RunEnded(Event):
    """The program is over: `complete`, `held`, `fault` or `aborted`, and why."""

    outcome: str
    reason: str
