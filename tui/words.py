"""A run's picture in words and figures: what the screen says. Pure: a picture in, text out."""

from __future__ import annotations

from typing import Final

from controller.bus.picture import RunPicture
from controller.core.events import ElectrodeMeasured, HoleFinished
from controller.core.snapshot import Snapshot
from controller.record.by_hand import COVERAGE
from controller.record.summary import spoken_time
from controller.settings.units import UM_PER_MM

# Phases in which the source may be on and there is a gap to speak of.
LIVE: Final = frozenset({"approach", "erode", "short-recover"})
# What each phase is, said in a word or two.
PHASES: Final = {
    "idle": "moving clear",
    "probe": "touching",
    "approach": "approaching",
    "erode": "eroding",
    "retract": "withdrawing",
    "short-recover": "freeing a short",
    "hold": "holding, safe",
    "fault": "fault, safe",
}
# How a run ended, likewise.
ENDINGS: Final = {
    "complete": "complete",
    "held": "held, safe",
    "fault": "fault, safe",
    "aborted": "interrupted, safe",
}
# The feed's speed is read over this stretch (s): chosen, longer than a flush and shorter than a change of the front.
SPEED_S: Final = 4.0
# Below this nobody wants a range (s). Chosen.
SOON_S: Final = 120.0
WISHES: Final = {
    "hold": "it will hold at the next safe moment",
    "measure": "the electrode will be measured at the next safe moment",
    "skip": "this hole will be left at the next safe moment",
}


def phase_words(picture: RunPicture) -> str:
    """What phase the machine is in; how the run ended, once it is over."""
    seen = picture.latest
    if picture.ended is not None:
        return ENDINGS.get(picture.ended.outcome, picture.ended.outcome)
    if picture.gone:
        return "broken off"
    return "waiting for the first word" if seen is None else PHASES.get(seen.phase, seen.phase)


def doing_words(picture: RunPicture) -> str:
    """What is being done now; what was asked for and waits; what was being done last, once nothing is."""
    seen = picture.latest
    if picture.ended is not None and picture.ended.outcome == "complete":
        return "Every hole is made"
    if seen is None:
        return "Connected; nothing has been told yet"
    doing = seen.doing or "Getting ready"
    if picture.ended is not None or picture.gone:
        return f"Last: {doing}"
    return "; ".join([doing, *(WISHES.get(wish, wish) for wish in seen.wishes)])


def count_words(picture: RunPicture) -> str:
    """How many holes are done."""
    finished = picture.finished.values()
    wrong = sum(hole.outcome != "through" for hole in finished)
    told = f"{len(finished)} of {len(picture.about.holes)} holes"
    return f"{told}, {wrong} not right" if wrong else told


def left_words(picture: RunPicture) -> str:
    """How much time is left, as a range; how it ended, once it has."""
    if picture.ended is not None:
        return f"ended: {picture.ended.outcome}"
    left = picture.left_s
    if left.high < SOON_S:
        return "less than two minutes left"
    return f"{short_time(left.low)} to {short_time(left.high)} left"


def title_words(picture: RunPicture) -> str:
    """What is being run."""
    about = picture.about
    rehearsed = f"rehearsal, seed {about.seed}" if about.rehearsed else about.machine
    return f"{about.job} · {rehearsed}"


def short_time(seconds: float) -> str:
    """A time as `4 h 12` or `12 min`."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d}" if minutes >= 60 else f"{minutes} min"


def speed_um_s(picture: RunPicture) -> float | None:
    """The feed's speed over the last seconds (µm/s); None when the electrode is not in a hole."""
    seen = picture.latest
    if seen is None or seen.phase not in LIVE:
        return None
    before = [each for each in picture.history if each.hole == seen.hole and seen.time_s - each.time_s <= SPEED_S]
    passed_s = seen.time_s - before[0].time_s if before else 0.0
    return (seen.feed_mm - before[0].feed_mm) * UM_PER_MM / passed_s if passed_s > 0.0 else None


def rows(picture: RunPicture) -> list[tuple[str, str]]:
    """The figures beside the plate, as (name, figure)."""
    seen = picture.latest
    if seen is None:
        return []
    speed = speed_um_s(picture)
    in_hole = seen.full_mm > 0.0
    return [
        ("feed", "–" if speed is None else f"{speed:+.0f} µm/s"),
        ("sparks", f"{seen.sparks_per_s:.0f} a second" if seen.phase in LIVE else "–"),
        ("depth", f"{seen.feed_mm:.2f} mm" if in_hole else "–"),
        ("out at", f"about {seen.pierce_mm:.2f} mm" if in_hole else "–"),
        ("full by", f"{seen.full_mm:.2f} mm" if in_hole else "–"),
        ("rod out", f"{seen.tip_length_mm:.2f} ± {COVERAGE * seen.tip_length_u_mm:.2f} mm"),
        ("needle", f"{seen.cone_mm:.2f} mm long"),
        ("rod left", f"{seen.stock_mm:.1f} mm"),
        ("measure", measure_words(seen)),
        ("water", water_words(picture)),
    ]


def measure_words(seen: Snapshot) -> str:
    """When the electrode will be measured next."""
    if seen.measure_in == 0:
        return "before the next"
    return "after this hole" if seen.measure_in == 1 else f"in {seen.measure_in} holes"


def water_words(picture: RunPicture, most: int = 8) -> str:
    """The lowest reading of the sensing path over each few holes: it sinks as the water gets more conductive."""
    readings = [volts for _, volts in picture.water]
    if not readings:
        return "not read yet"
    size = max(len(readings) // most, 2)
    lowest = [min(readings[place : place + size]) for place in range(0, len(readings), size)][-most:]
    first, last = lowest[0], lowest[-1]
    trend = "steady" if abs(last - first) < 0.05 * first else "sinking" if last < first else "rising"
    return f"{last:.2f} V, {trend}"


def hole_words(picture: RunPicture, number: int) -> list[str]:
    """All that is known of one hole, in lines."""
    hole = picture.finished.get(number)
    if hole is None:
        now = picture.latest is not None and picture.latest.hole == number and picture.ended is None
        return ["being made now" if now else "to do"]
    return _finished_words(hole)


def _finished_words(hole: HoleFinished) -> list[str]:
    if hole.outcome == "through":
        first = f"exit {hole.exit_diameter_mm:.3f} ± {COVERAGE * hole.exit_diameter_u_mm:.3f} mm"
    else:
        first = f"{hole.outcome}: {hole.reason}" if hole.reason else hole.outcome
    return [
        first,
        f"{spoken_time(hole.seconds)}, eroding {spoken_time(hole.erode_s)}",
        f"worn {hole.wear_mm:.3f} mm, past {hole.over_travel_mm:.2f}",
        f"{hole.shorts} shorts",
    ]


def measured_words(measured: ElectrodeMeasured | None) -> str:
    """The last measurement, in words."""
    if measured is None:
        return "not measured yet"
    off_um = UM_PER_MM * (measured.tip_length_mm - measured.predicted_mm)
    return f"measured {off_um:+.0f} µm off what was believed"
