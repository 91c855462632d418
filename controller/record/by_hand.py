"""Which holes a person should check by hand, and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from statistics import median

from controller.core.events import DROP_OUT, ElectrodeMeasured, HoleFinished, ShortEnded
from controller.record.journal import RunRecord, StartRecord

# Coverage factor: two standard uncertainties, about 95 % (GUM, JCGM 100:2008, 6.2.1).
COVERAGE = 2.0
# A measurement this many combined standard uncertainties off its prediction is a surprise: chosen so that a job of a
# hundred measurements rarely has one by chance (0.3 % each for a normal law).
SURPRISE = 3.0
# Median absolute deviation to standard deviation of a normal law: 1/Φ⁻¹(0.75) (from memory, textbook constant).
MAD_TO_SD = 1.4826
# An erosion time this many standard deviations off the median is told: chosen so that a job of some hundred good
# holes rarely names one by chance.
UNUSUAL_SD = 4.0
# Rungs of the short ladder: from the second on a short outlasted the small retreat, from the fourth on the electrode
# was stuck (core.cycles.recover). So many hard shorts may have marked a hole's wall: common practice, no source.
HARD_RUNG, STUCK_RUNG, MANY_HARD = 2, 4, 3


@dataclass(slots=True, frozen=True)
class Reason:
    """Why a hole should be checked: words shared by all holes with that reason, and the hole's own figure."""

    rank: int
    words: str
    figure: str = ""


@dataclass(slots=True, frozen=True)
class Group:
    """Holes to check for one reason, as (hole, figure), by number."""

    words: str
    holes: tuple[tuple[int, str], ...]

    @property
    def shared(self) -> str:
        """The figure, when it is the same for several holes; else empty."""
        figures = {figure for _, figure in self.holes}
        return figures.pop() if len(figures) == 1 and len(self.holes) > 1 else ""


def holes_to_check(record: RunRecord) -> dict[int, list[Reason]]:
    """Holes that are not sure to be right, by number. Gauged holes were checked already and are left out."""
    finished = record.finished()
    low_s, high_s = _usual_times(finished)
    surprised, rungs = _holes_before_a_surprise(record), _rungs(record)
    gauged = record.gauged_last()
    found = {}
    for number, hole in sorted(finished.items()):
        reasons = [
            *_size_reasons(hole, record.start),
            *_course_reasons(hole, (low_s, high_s), surprised, rungs.get(number, ())),
        ]
        if reasons and number not in gauged:
            found[number] = reasons
    return found


def grouped(check: dict[int, list[Reason]]) -> list[Group]:
    """The holes gathered by reason, the gravest reason first."""
    together: dict[tuple[int, str], list[tuple[int, str]]] = {}
    for hole, reasons in check.items():
        for reason in reasons:
            together.setdefault((reason.rank, reason.words), []).append((hole, reason.figure))
    return [Group(words, tuple(holes)) for (_, words), holes in sorted(together.items())]


def standing_out(groups: Sequence[Group], drilled: int) -> frozenset[int]:
    """Holes with a reason that does not hold for every hole drilled: a mark on all of them would tell nothing."""
    return frozenset(hole for group in groups if len(group.holes) < drilled for hole, _ in group.holes)


def _size_reasons(hole: HoleFinished, start: StartRecord) -> Iterator[Reason]:
    if hole.outcome != "through":
        yield Reason(0, f"{hole.outcome}: {hole.reason}" if hole.reason else hole.outcome)
        return
    margin = start.tolerance_mm - abs(hole.exit_diameter_mm - start.diameter_mm)
    reach = COVERAGE * hole.exit_diameter_u_mm
    if margin < 0:
        yield Reason(1, "estimated exit outside the tolerance", f"{hole.exit_diameter_mm:.3f} mm")
    elif margin < reach:
        figure = f"{hole.exit_diameter_mm:.3f} ± {reach:.3f} mm"
        yield Reason(2, "estimated exit inside the tolerance, but its uncertainty reaches past it", figure)


def _course_reasons(
    hole: HoleFinished, usual_s: tuple[float, float], surprised: frozenset[int], rungs: Sequence[int]
) -> Iterator[Reason]:
    hard = sum(rung >= HARD_RUNG for rung in rungs)
    if any(rung >= STUCK_RUNG for rung in rungs):
        yield Reason(2, "the electrode was stuck here: look for a weld scar")
    if hole.hole in surprised:
        yield Reason(3, "the next measurement found the electrode far shorter than predicted: perhaps undersize")
    if hard >= MANY_HARD:
        yield Reason(4, "many shorts that outlasted a small retreat: look for burn marks and a wide entry", f"{hard}")
    if hole.outcome == "through" and not usual_s[0] <= hole.erode_s <= usual_s[1]:
        yield Reason(5, "unusual erosion time", f"{hole.erode_s:.0f} s")


def _rungs(record: RunRecord) -> dict[int, list[int]]:
    """The rungs of the ladder that ended each hole's shorts; drop-outs after all are none."""
    found: dict[int, list[int]] = {}
    for event in record.events:
        if isinstance(event, ShortEnded) and event.cause != DROP_OUT:
            found.setdefault(event.hole, []).append(event.rung)
    return found


def _usual_times(finished: dict[int, HoleFinished]) -> tuple[float, float]:
    """The band of usual erosion times, from median and median absolute deviation (robust against the odd ones)."""
    times = [hole.erode_s for hole in finished.values() if hole.outcome == "through"]
    if not times:
        return 0.0, float("inf")
    middle = median(times)
    reach = UNUSUAL_SD * MAD_TO_SD * median(abs(each - middle) for each in times)
    # A tenth of the median at the least: chosen so that a job of nearly equal holes does not call trifles unusual.
    reach = max(reach, 0.1 * middle)
    return middle - reach, middle + reach


def _holes_before_a_surprise(record: RunRecord) -> frozenset[int]:
    """Holes drilled since the measurement before one that found the electrode far shorter than predicted."""
    since: set[int] = set()
    surprised: set[int] = set()
    for event in record.events:
        if isinstance(event, HoleFinished):
            since.add(event.hole)
        elif isinstance(event, ElectrodeMeasured):
            if is_surprise(event) and event.tip_length_mm < event.predicted_mm:
                surprised |= since
            since.clear()
    return frozenset(surprised)


def is_surprise(event: ElectrodeMeasured) -> bool:
    """Whether a measurement lies far outside the combined standard uncertainty of itself and its prediction."""
    combined = hypot(event.u_mm, event.predicted_u_mm)
    return abs(event.tip_length_mm - event.predicted_mm) > SURPRISE * combined
