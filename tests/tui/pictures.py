"""Pictures of runs for the tests of the screen. Every figure is invented, none is a finding."""

from __future__ import annotations

import asyncio
from math import sin

from controller.bus.listener import Gone
from controller.bus.picture import RunPicture
from controller.core.events import (
    ElectrodeMeasured,
    Event,
    FaultTripped,
    HoleFinished,
    PromptRaised,
    Proven,
    RunEnded,
    ShortEnded,
    SurfaceMapped,
)
from controller.core.requests import Request
from controller.core.snapshot import Snapshot
from controller.plan.ranges import Range
from controller.record.journal import PlacedHole
from controller.watchable import about
from tests.record.made_up import START, places

NOW_S = 3000.0
HOLE = 57
ADVANCE = PromptRaised(
    NOW_S,
    1,
    "advance",
    "The electrode stands out 22.3 mm; the least is 22.0 mm.",
    "Switch the supply off at its isolator, wait 5 s, check with a meter that the electrode is dead. Only then "
    "reach in. Switch the supply on again afterwards, hands away, guard closed. Push the rod down until it "
    "stands out 45 mm (± 4), clamp it.",
    "The host proves the source absent, measures the electrode on the reference plate and goes on.",
    ("done", "end"),
    planned=True,
)
HELD = PromptRaised(
    NOW_S,
    1,
    "held",
    "Held as asked: asked for at the screen. The source is isolated, the water is off and the electrode stands clear.",
    "Switch the supply off at its isolator, wait 5 s, check with a meter that the electrode is dead. Only then "
    "reach in. Switch the supply on again afterwards, hands away, guard closed. Nothing has to be done. If the "
    "electrode was touched, answer `measure first`.",
    "It goes on where it was left: down to the front again, never by repeating moves.",
    ("go on", "measure first", "end"),
    planned=True,
)
FAULT = FaultTripped(
    NOW_S,
    "no water",
    "the flow switch says that the jet stopped while the source was on",
    "look at pump, filter and hose, then start again",
)


class Still:
    """A run that tells nothing more: what is asked of it is kept, and refused with `refusal` if there is one."""

    def __init__(self, picture: RunPicture, last_words: str = "") -> None:
        self.picture = picture
        self.asked: list[Request] = []
        self.refusal = ""
        self._last_words = last_words

    async def next(self) -> Event | Snapshot:
        """Nothing more, for ever; or the end."""
        if not self._last_words:
            await asyncio.Event().wait()
        raise Gone(self._last_words)

    async def ask(self, request: Request) -> str:
        """Keep what is asked."""
        self.asked.append(request)
        return self.refusal


def bare(holes: list[PlacedHole] | None = None) -> RunPicture:
    """A run before its first word."""
    start = START.model_copy(update={"job": "diffuser", "machine": "virtual"})
    return RunPicture(about("runs/plate", start, holes or places(320), Range(10e3, 14e3, 20e3)))


def eroding(holes: list[PlacedHole] | None = None) -> RunPicture:
    """A run in the middle of a hole, with a failed and an undersize one behind it."""
    picture = bare(holes)
    picture.hear(SurfaceMapped(60.0, -60.0, 0.001, 0.002, 0.0, 0.0, 0.0, 0.004, 0.006))
    for number in range(1, HOLE):
        outcome, reason = {23: ("undersize", "the room was used up"), 41: ("failed", "no deeper after 6 lifts")}.get(
            number, ("through", "")
        )
        time_s = 50.0 * number + 80.0
        picture.hear(Proven(time_s - 40.0, 0.001, 4.4 - 0.008 * number))
        size = 1.492 if outcome == "through" else 1.3
        figures = (50.0, 41.0, 1.31, 0.171, 0.31, size, 0.012, 3 + number % 4, 3)
        place = picture.about.holes[number - 1]
        picture.hear(HoleFinished(time_s, number, place.x_mm, place.y_mm, outcome, reason, time_s - 50.0, *figures))
    picture.hear(ShortEnded(2700.0, 54, 3, 6.3, "a particle"))
    picture.hear(ElectrodeMeasured(2890.0, 36.41, 0.011, 36.44, 0.09, 104.2, HOLE - 1, 21.0))
    for tick in range(600):
        picture.see(at(NOW_S - 60.0 + 0.1 * tick))
    return picture


def at(time_s: float) -> Snapshot:
    """An invented moment: sparking mostly, a short now and then, and ten seconds of travel."""
    since = time_s - NOW_S + 60.0
    if since < 10.0:
        return snapshot(time_s, "idle", "Hole 57: going there", (0.0, 0.0, 0.0, 0.0))
    short = 0.9 if 30.0 < since < 31.5 else 0.02
    off = 0.8 if 44.0 < since < 44.6 else 0.03
    wide = 0.25 + 0.2 * sin(since / 4.0)
    spark = max(1.0 - short - off - wide, 0.0)
    return snapshot(time_s, "erode", "Hole 57: eroding", (wide, spark, short, off), 0.018 * (since - 12.0))


def snapshot(
    time_s: float, phase: str, doing: str, gap: tuple[float, float, float, float], feed_mm: float = 0.0
) -> Snapshot:
    """A moment with these shares of open, sparking, shorted and drop-out."""
    electrode = (36.27, 0.031, 1.86, 104.0)
    return Snapshot(
        time_s, phase, doing, HOLE, HOLE - 1, 320, max(feed_mm, 0.0), *gap, 142.0, 0.34, *electrode, 1.17, 2.96, 4, ()
    )


def waiting(prompt: PromptRaised) -> RunPicture:
    """A run that waits for the operator."""
    picture = eroding()
    picture.see(snapshot(NOW_S, "hold", f"Waiting for the operator: {prompt.topic}", (0.0, 0.0, 0.0, 0.0)))
    picture.hear(prompt)
    return picture


def broken() -> RunPicture:
    """A run that ended with a fault."""
    picture = eroding()
    picture.see(snapshot(NOW_S, "fault", "Hole 57: eroding", (0.0, 0.0, 0.0, 0.0)))
    picture.hear(FAULT)
    picture.hear(RunEnded(NOW_S, "fault", f"{FAULT.cause}: {FAULT.meaning}. {FAULT.remedy}"))
    return picture


def done() -> RunPicture:
    """A run that came to its end."""
    picture = eroding()
    picture.see(snapshot(NOW_S, "idle", "Done", (0.0, 0.0, 0.0, 0.0)))
    picture.hear(RunEnded(NOW_S, "complete", "every hole is through at full size by estimate"))
    return picture
