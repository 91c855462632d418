"""What finished runs teach: removal rate, wear, overcut and drop-outs, each with its uncertainty and what it rests on.

Removal and wear come from holes that went through, whose volume is the overcut's affair: they hold for the overcut that
is proposed with them. How well that is known comes in where a plan makes a volume of it again (`plan.budget`), and must
not be counted here as well. What holds of one plate holds of the next only so well; that share is added last
(`CARRIED`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, stdev
from typing import Final

from controller.core.events import ElectrodeAdvanced, ElectrodeMeasured, HoleFinished, SourceLearned
from controller.plan.budget import hole_area_mm2
from controller.plan.overcut import Gauged, Overcut, learn_overcut
from controller.plan.wear import cone_volume_mm3, disc_area_mm2
from controller.record.journal import RunRecord
from controller.record.working import working_seconds
from controller.settings.job import Job
from controller.settings.load import load_text
from controller.settings.machine import DropOuts
from controller.settings.technology import Guess, Technology

CARRIED: Final = 0.05
"""Relative standard uncertainty of taking a rate to another plate with other water. Chosen: twice what the overcut is
given (`plan.overcut.CARRIED_U_MM`), since rates follow water and flushing more than the gap does."""

LEAST_HOLES: Final = 3
"""Fewer holes than this teach no scatter. Chosen."""


FORMED: Final = 0.5
FORMED_U: Final = 0.29
"""Share of the full cone that a fresh tip has formed by the end of a run: anything between none and all of it."""


class LessonError(Exception):
    """A run that teaches nothing, or runs that don't belong together; the message says why."""


@dataclass(slots=True, frozen=True)
class Lesson:
    """One figure: its key in the technology file, what was believed, what is proposed, what that rests on."""

    key: str
    believed: Guess
    proposed: Guess
    holes: int
    why: str

    @property
    def learned(self) -> bool:
        """Something was seen."""
        return self.holes > 0


@dataclass(slots=True, frozen=True)
class Lessons:
    """Everything that some runs of one machine and technology teach."""

    technology: Technology
    lessons: tuple[Lesson, ...]
    drop_outs: DropOuts | None
    removed_mm3: float
    rehearsed: bool

    def taught(self) -> Technology:
        """The technology with the proposed figures."""
        return self.technology.model_copy(update={lesson.key: lesson.proposed for lesson in self.lessons})


@dataclass(slots=True, frozen=True)
class _Hole:
    """One hole that went through: volume, and the time it took."""

    volume_mm3: float
    work_s: float


def learn_from(records: Sequence[RunRecord]) -> Lessons:
    """What runs teach together.

    Raises:
        LessonError: No run, runs of different machines or technologies, real and rehearsed ones mixed, too few holes.
    """
    start = records[0].start
    for other in records[1:]:
        if (other.start.machine, other.start.technology) != (start.machine, start.technology):
            raise LessonError(
                f"the runs are of {start.technology} on {start.machine} and of {other.start.technology} on "
                f"{other.start.machine}: learn from each by itself"
            )
        if other.start.rehearsed != start.rehearsed:
            raise LessonError("real runs and rehearsals teach different things: learn from each by itself")
    technology = load_text(start.technology_toml, "the run's technology", Technology)
    gauged = [
        Gauged(each.hole, each.diameter_mm, each.u_mm, each.rod_mm)
        for record in records
        for each in record.gauged_last().values()
    ]
    overcut = learn_overcut(technology.overcut_mm, gauged)
    holes = [hole for record in records for hole in _through(record, overcut)]
    if len(holes) < LEAST_HOLES:
        raise LessonError(f"{len(holes)} holes went through, {LEAST_HOLES} are needed to tell scatter from rule")
    lessons = (
        _overcut_lesson(technology, overcut),
        _removal_lesson(technology, holes),
        _wear_lesson(technology, records, overcut),
        Lesson("cone_diameters", technology.cone_diameters, technology.cone_diameters, 0, "is not seen by any wire"),
    )
    removed = sum(hole.volume_mm3 for hole in holes)
    return Lessons(technology, lessons, _drop_outs(records), removed, start.rehearsed)


def _job(record: RunRecord) -> Job:
    return load_text(record.start.job_toml, "the run's job", Job)


def _through(record: RunRecord, overcut: Overcut) -> Iterator[_Hole]:
    job = _job(record)
    volume = hole_area_mm2(job, overcut.mean_mm) * job.work.thickness_mm
    worked = working_seconds(record.events)
    for event in record.finished().values():
        if event.outcome == "through" and event.erode_s > 0.0:
            yield _Hole(volume, worked.get(event.hole, event.erode_s))


def _overcut_lesson(technology: Technology, overcut: Overcut) -> Lesson:
    believed = technology.overcut_mm
    if overcut.n == 0:
        return Lesson("overcut_mm", believed, believed, 0, "needs holes gauged by hand: `gapwright gauge`")
    carried = overcut.carried()
    return Lesson("overcut_mm", believed, Guess(guess=carried.mean_mm, u=carried.u_mm), overcut.n, "gauged holes")


def _removal_lesson(technology: Technology, holes: Sequence[_Hole]) -> Lesson:
    """Volume over time at work in the holes, as the budget counts it."""
    rates = [hole.volume_mm3 / hole.work_s for hole in holes]
    mean = sum(hole.volume_mm3 for hole in holes) / sum(hole.work_s for hole in holes)
    scatter = stdev(rates) / fmean(rates)
    u = math.hypot(scatter / math.sqrt(len(holes)), CARRIED)
    proposed = Guess(guess=mean, u=mean * u)
    words = f"volume over time at work in the holes; they scatter by {100 * scatter:.0f} %"
    return Lesson("removal_mm3_s", technology.removal_mm3_s, proposed, len(holes), words)


def _wear_lesson(technology: Technology, records: Sequence[RunRecord], overcut: Overcut) -> Lesson:
    """Length lost between measurements over the holes between them, the forming of each fresh tip's cone counted in."""
    lost = lost_u2 = worked = 0.0
    holes = 0
    cone = technology.cone_diameters
    for record in records:
        job = _job(record)
        rod = job.electrode
        tool = disc_area_mm2(rod.diameter_mm, rod.bore_mm)
        area = hole_area_mm2(job, overcut.mean_mm)
        spans = list(_spans(record))
        for length, length_u, count in spans:
            lost += length * tool
            lost_u2 += (length_u * tool) ** 2
            worked += count * area * job.work.thickness_mm
            holes += count
        if spans:
            one = cone_volume_mm3(rod.diameter_mm / 2.0, rod.diameter_mm)
            lost += FORMED * cone.guess * one
            lost_u2 += (FORMED_U * cone.guess * one) ** 2 + (FORMED * cone.u * one) ** 2
    believed = technology.volumetric_wear
    if holes < LEAST_HOLES or worked <= 0.0:
        return Lesson("volumetric_wear", believed, believed, 0, "needs the electrode measured before and after holes")
    ratio = lost / worked
    u = math.hypot(math.sqrt(lost_u2) / lost, CARRIED)
    why = "length lost between measurements, a fresh tip's cone counted in"
    return Lesson("volumetric_wear", believed, Guess(guess=ratio, u=min(u, 0.9) * ratio), holes, why)


def _spans(record: RunRecord) -> Iterator[tuple[float, float, int]]:
    """Between one measurement and the next: length lost, its standard uncertainty, holes made."""
    marks = [
        event for event in record.events if isinstance(event, ElectrodeMeasured | ElectrodeAdvanced | HoleFinished)
    ]
    measured = [place for place, event in enumerate(marks) if isinstance(event, ElectrodeMeasured)]
    for first, second in pairwise(measured):
        between = marks[first + 1 : second]
        if any(isinstance(event, ElectrodeAdvanced) for event in between):
            continue
        a, b = marks[first], marks[second]
        count = sum(isinstance(event, HoleFinished) for event in between)
        if count and isinstance(a, ElectrodeMeasured) and isinstance(b, ElectrodeMeasured):
            length = a.tip_length_mm - b.tip_length_mm
            if b.stock_mm > a.stock_mm or length < -3.0 * math.hypot(a.u_mm, b.u_mm):
                continue  # somebody had a hand in it
            yield length, math.hypot(a.u_mm, b.u_mm), count


def _drop_outs(records: Sequence[RunRecord]) -> DropOuts | None:
    """The source's drop-outs as the last run came to believe them."""
    seen = [event for event in records[-1].events if isinstance(event, SourceLearned)]
    if not seen:
        return None
    last = seen[-1]
    return DropOuts(rate_hz=last.drop_out_hz, median_s=last.drop_out_median_s, longest_s=last.drop_out_longest_s)
