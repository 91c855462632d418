"""All that somebody who comes to a run needs to know of it, kept up to date by what the run tells.

Both ends of the bus hold one: a newcomer is handed the whole of it and from then on takes the same messages.
"""

from __future__ import annotations

from collections import deque
from dataclasses import asdict, dataclass, field
from typing import Any, Final, TypeVar

from controller.bus.messages import event_fields, event_of, snapshot_fields, snapshot_of
from controller.core.events import (
    BrokeThrough,
    ElectrodeAdvanced,
    ElectrodeMeasured,
    Event,
    FaultTripped,
    HoleFinished,
    HoleStarted,
    PromptAnswered,
    PromptRaised,
    Proven,
    RunEnded,
)
from controller.core.snapshot import Snapshot
from controller.plan.left import seconds_left
from controller.plan.ranges import Range
from controller.record.happenings import happenings
from controller.record.journal import PlacedHole

E = TypeVar("E", bound=Event)

# How far back the gap is shown (s of machine time), and at the most how many snapshots that may be: a minute at 10 Hz.
HISTORY_S: Final = 60.0
HISTORY_MOST: Final = 600
# Events that are worth a line are kept for somebody who comes late; so many. Chosen: some hours of an ordinary job.
TOLD_MOST: Final = 500
# Readings of the sensing path over open water, for the trend: one a hole, so a long job's worth.
WATER_MOST: Final = 600
# Events that say how things stand until the next of their kind.
STANDING: Final = (BrokeThrough, ElectrodeAdvanced, ElectrodeMeasured, FaultTripped, HoleStarted, RunEnded)


@dataclass(slots=True, frozen=True)
class About:
    """What is being run and never changes: names, sizes in mm, and the folder of the run.

    `expected_s` is how long the plan expects it to take: low, expected, high.
    """

    run: str
    job: str
    machine: str
    rehearsed: bool
    seed: int | None
    started_utc: str
    thickness_mm: float
    diameter_mm: float
    tolerance_mm: float
    rod_mm: float
    expected_s: tuple[float, float, float]
    holes: tuple[PlacedHole, ...]


@dataclass(slots=True)
class RunPicture:
    """A run as it stands.

    Attributes:
        about: What is being run.
        latest: The last snapshot; None before the first.
        history: Snapshots of the last minute of machine time, the latest included.
        finished: Finished holes by number.
        last: The last event of each kind that tells how things stand.
        told: What happened, without what happens every day; the oldest is dropped.
        water: Readings of the sensing path over open water, as (machine time, volts).
        prompt: The prompt that waits.
        gone: Nothing more will be told: the run is over, or its process has gone.
    """

    about: About
    latest: Snapshot | None = None
    history: deque[Snapshot] = field(default_factory=lambda: deque(maxlen=HISTORY_MOST))
    finished: dict[int, HoleFinished] = field(default_factory=dict)
    last: dict[type[Event], Event] = field(default_factory=dict)
    told: deque[Event] = field(default_factory=lambda: deque(maxlen=TOLD_MOST))
    water: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=WATER_MOST))
    prompt: PromptRaised | None = None
    gone: bool = False

    @property
    def left_s(self) -> Range:
        """How long it will still take, in seconds of machine time."""
        made_s = [hole.seconds for hole in self.finished.values()]
        elapsed_s = self.latest.time_s if self.latest is not None else 0.0
        return seconds_left(Range(*self.about.expected_s), len(self.about.holes), elapsed_s, made_s)

    @property
    def ended(self) -> RunEnded | None:
        """How the run ended, once it has."""
        return self.last_of(RunEnded)

    def last_of(self, shape: type[E]) -> E | None:
        """The last event of a kind in `STANDING`."""
        event = self.last.get(shape)
        return event if isinstance(event, shape) else None

    def see(self, snapshot: Snapshot) -> None:
        """Take a snapshot."""
        self.latest = snapshot
        self.history.append(snapshot)
        while self.history[0].time_s < snapshot.time_s - HISTORY_S:
            self.history.popleft()

    def hear(self, event: Event) -> None:
        """Take an event."""
        if isinstance(event, STANDING):
            self.last[type(event)] = event
        if isinstance(event, HoleFinished):
            self.finished[event.hole] = event
        elif isinstance(event, Proven):
            self.water.append((event.time_s, event.open_reading_v))
        elif isinstance(event, PromptRaised):
            self.prompt = event
        elif isinstance(event, PromptAnswered | RunEnded):
            self.prompt = None
        if any(happenings([event])):
            self.told.append(event)

    def whole(self) -> dict[str, Any]:
        """The picture as plain fields, for a newcomer."""
        return {
            "about": asdict(self.about),
            "history": [snapshot_fields(each) for each in self.history],
            "finished": [event_fields(each) for each in self.finished.values()],
            "last": [event_fields(each) for each in self.last.values()],
            "told": [event_fields(each) for each in self.told],
            "water": [list(each) for each in self.water],
            "prompt": None if self.prompt is None else event_fields(self.prompt),
        }


def picture_of(whole: dict[str, Any]) -> RunPicture:
    """The picture that a newcomer was handed."""
    named = dict(whole["about"])
    holes = tuple(PlacedHole(**each) for each in named.pop("holes"))
    picture = RunPicture(About(**{**named, "expected_s": tuple(named["expected_s"]), "holes": holes}))
    for each in whole["finished"]:
        picture.hear(event_of(each))
    for each in whole["last"]:
        picture.hear(event_of(each))
    picture.prompt = None
    if whole["prompt"] is not None:
        picture.hear(event_of(whole["prompt"]))
    picture.told.clear()
    picture.told.extend(event_of(each) for each in whole["told"])
    picture.water.extend((time_s, volts) for time_s, volts in whole["water"])
    for each in whole["history"]:
        picture.see(snapshot_of(each))
    return picture
