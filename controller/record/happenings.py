"""What happened when, in words: the events a person would want to read afterwards."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import singledispatch
from math import hypot

from controller.core.events import (
    CommandRefused,
    ElectrodeAdvanced,
    ElectrodeMeasured,
    Event,
    FaultTripped,
    HoleDoubted,
    HoleFinished,
    Noticed,
    PromptAnswered,
    PromptRaised,
    Recentred,
    RunEnded,
    RunResumed,
    ShortEnded,
    SourceOpenedHot,
    SurfaceMapped,
)
from controller.record.by_hand import is_surprise
from controller.settings.units import UM_PER_MM

# Shorts that the first rungs of the ladder ended are everyday; from this rung on, where the electrode leaves the hole,
# they are told one by one.
TOLD_FROM_RUNG = 3


@dataclass(slots=True, frozen=True)
class Happening:
    """One line of the story: machine time and words; `grave` marks what went wrong."""

    time_s: float
    words: str
    grave: bool = False


def happenings(events: Iterable[Event]) -> Iterator[Happening]:
    """The story of a run."""
    for event in events:
        told = _tell(event)
        if told is not None:
            words, grave = told
            yield Happening(event.time_s, words, grave)


@singledispatch
def _tell(_event: Event) -> tuple[str, bool] | None:
    """Words for an event and whether it is grave; None for what is everyday."""
    return None


@_tell.register
def _(event: Noticed) -> tuple[str, bool] | None:
    # What the loop and the wires notice is for whoever looks into the record.
    return (f"Telling the run: {event.what}", False) if event.where == "telling" else None


@_tell.register
def _(event: SurfaceMapped) -> tuple[str, bool]:
    tilt_um = UM_PER_MM * 100.0 * hypot(event.b, event.c)
    # A square of 100 mm with this twist has one corner so far out of the plane of the other three.
    twisted = f", twisted by {UM_PER_MM * 1e4 * abs(event.twist):.0f} µm" if event.twist else ""
    words = (
        f"Work surface mapped: tilt {tilt_um:.0f} µm over 100 mm{twisted}, known to ± {UM_PER_MM * event.u_mm:.0f} µm"
    )
    return words, False


@_tell.register
def _(event: ElectrodeMeasured) -> tuple[str, bool] | None:
    if not is_surprise(event):
        return None
    off_um = UM_PER_MM * (event.tip_length_mm - event.predicted_mm)
    allowed_um = UM_PER_MM * event.predicted_u_mm
    return (
        f"Electrode measured {off_um:+.0f} µm off its predicted length (standard uncertainty {allowed_um:.0f} µm)",
        True,
    )


@_tell.register
def _(event: ElectrodeAdvanced) -> tuple[str, bool]:
    stands, left = event.tip_length_mm, event.stock_mm
    return f"Electrode advance {event.count}: stands out {stands:.2f} mm, {left:.1f} mm of stock in all", False


@_tell.register
def _(event: HoleFinished) -> tuple[str, bool] | None:
    return None if event.outcome == "through" else (f"Hole {event.hole} {event.outcome}: {event.reason}", True)


@_tell.register
def _(event: HoleDoubted) -> tuple[str, bool]:
    return f"Hole {event.hole} is not open after all, and is made again: {event.why}", True


@_tell.register
def _(event: RunResumed) -> tuple[str, bool]:
    begun = f", hole {event.begun} begun" if event.begun else ""
    return f"Run taken up again ({event.after}): {event.finished} holes made{begun}", False


@_tell.register
def _(event: Recentred) -> tuple[str, bool]:
    off_um = UM_PER_MM * hypot(event.off_x_mm, event.off_y_mm)
    return f"Hole {event.hole} felt from inside: its middle is {off_um:.0f} µm off", False


@_tell.register
def _(event: ShortEnded) -> tuple[str, bool] | None:
    if event.rung < TOLD_FROM_RUNG:
        return None
    return f"Short at hole {event.hole} cleared on rung {event.rung} after {event.seconds:.1f} s: {event.cause}", False


@_tell.register
def _(event: PromptRaised) -> tuple[str, bool]:
    kind = "planned" if event.planned else "not planned"
    return f"Operator asked ({event.topic}, {kind}): {event.what_happened}", not event.planned


@_tell.register
def _(event: PromptAnswered) -> tuple[str, bool]:
    return f"Operator answered: {event.choice}{' ' if event.reading else ''}{event.reading}", False


@_tell.register
def _(event: SourceOpenedHot) -> tuple[str, bool]:
    return f"Source contact opened under current (number {event.count}): {event.why}", True


@_tell.register
def _(event: CommandRefused) -> tuple[str, bool]:
    return f"Interlock refused {event.command}: {event.why}", True


@_tell.register
def _(event: FaultTripped) -> tuple[str, bool]:
    return f"Fault, {event.cause}: {event.meaning}; remedy: {event.remedy}", True


@_tell.register
def _(event: RunEnded) -> tuple[str, bool]:
    return f"Run ended, {event.outcome}: {event.reason}".rstrip(": "), event.outcome in {"fault", "held"}
