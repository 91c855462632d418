"""What is told over MQTT: one model for each topic, units in the names, described so that a schema can be made of them.

Lengths are in mm, times in s, shares 0 to 1. `docs/mqtt.schema.json` is generated from this file; a test compares.
"""

from __future__ import annotations

import json
from typing import Any, Literal

from pydantic import Field

from controller.bus.picture import RunPicture
from controller.core.events import ElectrodeAdvanced, FaultTripped, HoleFinished
from controller.settings.base import Settings


class Payload(Settings):
    """A message; never with figures that are none (NaN), which JSON does not know."""


class State(Payload):
    """Topic `state`: how things stand, once a second; also the last will, then with `online` false."""

    online: bool = Field(description="False once the process that tells has gone, whatever became of the machine.")
    time_s: float = Field(0.0, description="Machine time since the run began, s.")
    phase: str = Field("", description="idle, probe, approach, erode, retract, short-recover, hold or fault.")
    doing: str = Field("", description="What is being done now, in words.")
    hole: int = Field(0, description="Number of the hole that is being made; 0 for none.")
    feed_mm: float = Field(0.0, description="Feed below the first spark in this hole, mm.")
    open_share: float = Field(0.0, description="Probability that the gap is open, 0 to 1.")
    sparking_share: float = Field(0.0, description="Probability that the gap sparks, 0 to 1.")
    shorted_share: float = Field(0.0, description="Probability that the gap is shorted, 0 to 1.")
    drop_out_share: float = Field(0.0, description="Probability that the source has dropped out, 0 to 1.")
    sparks_per_s: float = Field(0.0, description="Sparks a second.")


class JobState(Payload):
    """Topic `job`: the whole job, told with every hole."""

    job: str = Field(description="Name of the job.")
    machine: str = Field(description="Name of the machine.")
    rehearsed: bool = Field(description="True for a rehearsal: no metal is cut.")
    started_utc: str = Field(description="Time of day at the start, ISO 8601, UTC.")
    holes_total: int = Field(description="Holes of the job.")
    holes_through: int = Field(description="Holes through at full size by estimate.")
    holes_failed: int = Field(description="Holes left undersize, failed or skipped.")
    left_low_s: float = Field(description="Machine time still needed, lower limit of about 95 %, s.")
    left_high_s: float = Field(description="The same, upper limit, s.")
    outcome: str = Field(description="Empty while it runs; then complete, held, fault or aborted.")
    reason: str = Field(description="Why it ended so.")


class HoleState(Payload):
    """Topic `hole`: the hole that was finished last."""

    hole: int = Field(description="Its number.")
    x_mm: float = Field(description="Its place in the machine's frame, mm.")
    y_mm: float = Field(description="The same, mm.")
    outcome: Literal["through", "undersize", "failed"] = Field(description="What became of it.")
    reason: str = Field(description="Why it is not through.")
    seconds: float = Field(description="Time it took, s.")
    erode_s: float = Field(description="Of this, eroding, s.")
    exit_diameter_mm: float = Field(description="Exit diameter by estimate, mm.")
    exit_diameter_u_mm: float = Field(description="Its standard uncertainty, mm.")
    wear_mm: float = Field(description="Length that the electrode lost, mm.")
    shorts: int = Field(description="Short circuits that were cleared.")


class ElectrodeState(Payload):
    """Topic `electrode`: what is believed of the electrode, told with every hole, measurement and advance."""

    tip_length_mm: float = Field(description="How far it stands out of the holder, mm.")
    tip_length_u_mm: float = Field(description="Its standard uncertainty, mm.")
    cone_mm: float = Field(description="Length of the worn cone at its tip, mm.")
    stock_mm: float = Field(description="Length of rod that is left, mm.")
    measure_in: int = Field(description="In how many holes it will be measured next.")
    advances: int = Field(description="How often it was advanced.")


class Alarm(Payload):
    """Topic `alarm`: what wants a person; `kind` is `none` when nothing does."""

    kind: Literal["none", "prompt", "fault"] = Field(description="none, prompt (somebody is asked) or fault.")
    cause: str = Field("", description="The cause by name.")
    what_happened: str = Field("", description="In words.")
    what_to_do: str = Field("", description="In words: what clears it.")


TOPICS: dict[str, type[Payload]] = {
    "state": State,
    "job": JobState,
    "hole": HoleState,
    "electrode": ElectrodeState,
    "alarm": Alarm,
}
OFFLINE = State(online=False)


def state(picture: RunPicture) -> State:
    """How things stand."""
    seen = picture.latest
    if seen is None:
        return State(online=True)
    return State(
        online=True,
        time_s=seen.time_s,
        phase=seen.phase,
        doing=seen.doing,
        hole=seen.hole,
        feed_mm=seen.feed_mm,
        open_share=seen.p_open,
        sparking_share=seen.p_sparking,
        shorted_share=seen.p_shorted,
        drop_out_share=seen.p_off,
        sparks_per_s=seen.sparks_per_s,
    )


def job(picture: RunPicture) -> JobState:
    """The whole job."""
    about, ended, left = picture.about, picture.ended, picture.left_s
    through = sum(hole.outcome == "through" for hole in picture.finished.values())
    return JobState(
        job=about.job,
        machine=about.machine,
        rehearsed=about.rehearsed,
        started_utc=about.started_utc,
        holes_total=len(about.holes),
        holes_through=through,
        holes_failed=len(picture.finished) - through,
        left_low_s=left.low,
        left_high_s=left.high,
        outcome=ended.outcome if ended else "",
        reason=ended.reason if ended else "",
    )


def hole(finished: HoleFinished) -> HoleState:
    """A hole that is finished."""
    return HoleState(**{name: getattr(finished, name) for name in HoleState.model_fields})


def electrode(picture: RunPicture) -> ElectrodeState | None:
    """The electrode; None before anything was told."""
    seen, advanced = picture.latest, picture.last_of(ElectrodeAdvanced)
    if seen is None:
        return None
    return ElectrodeState(
        tip_length_mm=seen.tip_length_mm,
        tip_length_u_mm=seen.tip_length_u_mm,
        cone_mm=seen.cone_mm,
        stock_mm=seen.stock_mm,
        measure_in=seen.measure_in,
        advances=advanced.count if advanced else 0,
    )


def alarm(picture: RunPicture) -> Alarm:
    """What wants a person now."""
    fault, prompt = picture.last_of(FaultTripped), picture.prompt
    if prompt is not None:
        return Alarm(
            kind="prompt", cause=prompt.topic, what_happened=prompt.what_happened, what_to_do=prompt.what_to_do
        )
    if fault is not None:
        return Alarm(kind="fault", cause=fault.cause, what_happened=fault.meaning, what_to_do=fault.remedy)
    return Alarm(kind="none")


def schema() -> str:
    """The JSON schema of every topic, as the documentation holds it."""
    described: dict[str, Any] = {topic: shape.model_json_schema() for topic, shape in TOPICS.items()}
    return json.dumps(described, indent=2, ensure_ascii=False) + "\n"
