"""A made-up run for the tests of journal, tables, summary and report. Every figure is invented, none is a finding."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from random import Random

from controller.core.events import (
    ElectrodeAdvanced,
    ElectrodeMeasured,
    Event,
    HoleFinished,
    HoleProgress,
    HoleStarted,
    PromptAnswered,
    PromptRaised,
    RunEnded,
    ShortBegan,
    ShortEnded,
    SurfaceMapped,
)
from controller.record.journal import Journal, PlacedHole, StartRecord, StopRecord, TrueHole, TrueTip

START = StartRecord(
    job="invented",
    machine="bench",
    technology="some-pair",
    job_toml='[job]\nname = "invented"\n',
    machine_toml='name = "bench"\n',
    technology_toml="[pair]\n",
    plant_toml="[wear]\ntool_scale = 1.0\n",
    thickness_mm=1.0,
    rod_mm=1.2,
    diameter_mm=1.5,
    tolerance_mm=0.05,
    overcut_mm=0.148,
    overcut_u_mm=0.004,
    overcut_scatter_mm=0.003,
    overcut_n=6,
    overcut_from="6 gauged holes",
    rehearsed=True,
    seed=1,
    versions={"gapwright": "0.0"},
    started_utc="2026-01-02T03:04:05Z",
)
STOP = StopRecord(outcome="complete", reason="", machine_s=0.0, wall_s=12.5, stopped_utc="2026-01-02T03:04:17Z")


def places(count: int, columns: int = 20) -> list[PlacedHole]:
    """A staggered grid of `count` holes at a pitch of 6 mm."""
    return [
        PlacedHole(
            index + 1, 3.0 + 6.0 * (index % columns) + 3.0 * (index // columns % 2), 3.0 + 5.196 * (index // columns)
        )
        for index in range(count)
    ]


class MadeUpRun:
    """Events, true tips and true holes of a run over `count` holes: one failed, one undersize, a few odd ones."""

    def __init__(self, count: int, seed: int = 1) -> None:
        self.planned = places(count)
        self.random = Random(seed)
        self.time_s = 60.0
        self.tip_mm = 45.0
        self.predicted_mm = 45.0
        self.u_mm = 0.01
        self.advances = 0
        self.truths: list[TrueHole] = []
        self.tips: list[TrueTip] = []
        self.events = [*self._start(), *(event for place in self.planned for event in self._hole(place))]
        self.events.append(RunEnded(self.time_s, "complete", ""))

    def _start(self) -> Iterator[Event]:
        yield SurfaceMapped(50.0, -60.0, 0.001, -0.0005, 0.0, 0.0, 0.0, 0.004, 0.006)
        yield from self._measure(0, 2.0)

    def _measure(self, hole: int, predicted_u_mm: float) -> Iterator[Event]:
        self.time_s += 30.0
        measured = self.tip_mm + self.random.gauss(0, 0.004)
        yield ElectrodeMeasured(self.time_s, measured, 0.004, self.predicted_mm, predicted_u_mm, 100.0, hole, 30.0)
        self.predicted_mm, self.u_mm = measured, 0.004
        self.tips.append(TrueTip(self.time_s, self.tip_mm))

    def _hole(self, place: PlacedHole) -> Iterator[Event]:
        hole, start_s = place.hole, self.time_s
        self.tips.append(TrueTip(start_s, self.tip_mm))
        yield HoleStarted(start_s, hole, place.x_mm, place.y_mm, self.predicted_mm, self.u_mm)
        erode_s = self.random.gauss(33.0, 3.0) + (60.0 if hole == 31 else 0.0)
        for _ in range(3):
            self.time_s += erode_s / 3
            yield HoleProgress(self.time_s, hole, 0.4, 0.3, 0.3, 0.6, 0.02, 0.08, 90.0)
        shorts = int(self.random.random() < 0.15)
        if shorts:
            yield ShortBegan(self.time_s, hole, 0.6)
            yield ShortEnded(self.time_s + 2.0, hole, 2 if hole % 3 == 0 else 1, 2.0, "debris")
        self.time_s += 6.0
        yield self._finished(place, start_s, erode_s, shorts)
        if hole % 8 == 0:
            yield from self._measure(hole, 0.03)
        if hole % 100 == 0:
            yield from self._advance(hole)

    def _finished(self, place: PlacedHole, start_s: float, erode_s: float, shorts: int) -> HoleFinished:
        hole, wear_mm = place.hole, self.random.gauss(0.18, 0.015)
        self.tip_mm -= wear_mm
        self.predicted_mm -= 0.18
        self.u_mm = (self.u_mm**2 + 0.015**2) ** 0.5
        outcome = {12: "failed", 45: "undersize"}.get(hole, "through")
        true_exit = (
            0.0 if outcome == "failed" else 1.498 + self.random.gauss(0, 0.008) + 0.02 * hole / len(self.planned)
        )
        self.truths.append(TrueHole(hole, true_exit + 0.02, true_exit, 1.51, outcome != "failed"))
        estimate = 0.0 if outcome == "failed" else 1.496 if hole != 50 else 1.46
        return HoleFinished(
            self.time_s, hole, place.x_mm, place.y_mm, outcome, "" if outcome == "through" else "welded", start_s,
            self.time_s - start_s, erode_s, 2.6, wear_mm, 1.4, estimate, 0.012, shorts, shorts,
        )  # fmt: skip

    def _advance(self, hole: int) -> Iterator[Event]:
        self.advances += 1
        topic, choices = "advance", ("done", "stop here")
        yield PromptRaised(
            self.time_s, self.advances, topic, "The electrode is short.", "Push it.", "", choices, True, hole
        )
        self.time_s += 60.0
        yield PromptAnswered(self.time_s, self.advances, "done", "")
        self.tip_mm = 45.0 + self.random.gauss(0, 1.0)
        self.predicted_mm = 45.0
        yield from self._measure(hole, 2.0)
        yield ElectrodeAdvanced(self.time_s, self.tip_mm, 120.0 - 20.0 * self.advances, self.advances)

    def write(self, run: Path, *, stopped: bool = True) -> None:
        """Write the journal of the run into a folder; without a stop record when it shall look crashed."""
        journal = Journal(run, START, self.planned)
        for tip in self.tips:
            journal.append_true_tip(tip)
        for event in self.events:
            journal.append(event)
        for truth in self.truths:
            journal.append_true_hole(truth)
        journal.close(STOP.model_copy(update={"machine_s": self.time_s}) if stopped else None)
