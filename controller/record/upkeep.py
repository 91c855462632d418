"""What wears out beside the electrode: water, filter, reference plate, source contact; counted from the runs' records.

Nothing here is measured by itself. It is counted since somebody last saw to it, and compared with how the process went:
more shorts in each hole than after the last change of water speak of dirty water before any count does. The limits are
common practice without a source, to be made better by whoever keeps the machine.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean, median
from typing import Final, Literal, get_args

from controller.core.events import PhaseChanged, SourceOpenedHot, Touched, WaterSensed
from controller.plan.budget import hole_area_mm2
from controller.record.journal import RunRecord
from controller.settings.base import Settings
from controller.settings.job import Job
from controller.settings.load import load_overlay, load_text
from controller.settings.text import toml_entry

Part = Literal["water", "filter", "plate", "contact"]
PARTS: Final[tuple[Part, ...]] = get_args(Part)

# Metal that a coarse filter takes, and that a small tank bears, in mm³ (common practice, no source: a job of 320 holes
# in 1 mm sheet is some 550 mm³).
FILTER_MM3: Final = 300.0
WATER_MM3: Final = 600.0
# Touches after which a plate is wiped, and the spread of repeats that says so before (common practice, no source; the
# spread is that at which a touch is repeated, `core.cycles.touch`).
PLATE_TOUCHES: Final = 150
PLATE_SPREAD_MM: Final = 0.008
# Times that a contactor opens cold before it is looked at (common practice, no source); hot openings count like many.
CONTACT_OPENINGS: Final = 5000
HOT_COUNTS: Final = 100
# Shorts a hole, against the first run after the water was changed, that speak of dirty water. Chosen.
SHORTS_RISE: Final = 2.0
ENOUGH_HOLES: Final = 5

_HEADING = "# What was seen to on this machine, and when. Only ever added to.\n"


class Done(Settings):
    """Somebody saw to a part."""

    what: Part
    when_utc: str


class _Sheet(Settings):
    done: tuple[Done, ...] = ()


@dataclass(slots=True, frozen=True)
class RunUse:
    """What one run used up."""

    started_utc: str
    holes: int
    removed_mm3: float
    eroding_h: float
    shorts_a_hole: float
    plate_touches: int
    plate_spread_mm: float
    openings: int
    hot_openings: int
    conductivity_us_cm: tuple[float, float] | None


@dataclass(slots=True, frozen=True)
class State:
    """One part: how much of what it bears is used up (1 is due), and the words for it."""

    part: Part
    share: float
    words: str

    @property
    def due(self) -> bool:
        """It is to be seen to before the next job."""
        return self.share >= 1.0


def use_of(record: RunRecord) -> RunUse:
    """What a run used up; volumes by the overcut that was believed at its start."""
    job = load_text(record.start.job_toml, "the run's job", Job)
    finished = list(record.finished().values())
    volume = hole_area_mm2(job, record.start.overcut_mm) * job.work.thickness_mm
    touches = [event for event in record.events if isinstance(event, Touched) and "reference" in event.purpose]
    water = [event for event in record.events if isinstance(event, WaterSensed)]
    return RunUse(
        record.start.started_utc,
        len(finished),
        volume * len(finished),
        sum(hole.erode_s for hole in finished) / 3600.0,
        fmean([float(hole.shorts) for hole in finished] or [0.0]),
        len(touches),
        median([touch.spread_mm for touch in touches] or [0.0]),
        sum(isinstance(event, PhaseChanged) and event.after == "approach" for event in record.events),
        sum(isinstance(event, SourceOpenedHot) for event in record.events),
        (water[-1].low_us_cm, water[-1].high_us_cm) if water else None,
    )


def states(uses: Sequence[RunUse], done: Sequence[Done]) -> list[State]:
    """The state of every part from what runs used, oldest first, since it was last seen to."""
    last = {each.what: each.when_utc for each in done}
    return [_STATES[part](list(_since(uses, last.get(part, "")))) for part in PARTS]


def _since(uses: Sequence[RunUse], when_utc: str) -> Iterator[RunUse]:
    return (use for use in sorted(uses, key=lambda use: use.started_utc) if use.started_utc >= when_utc)


def _water(uses: Sequence[RunUse]) -> State:
    removed = sum(use.removed_mm3 for use in uses)
    share, words = removed / WATER_MM3, f"{removed:.0f} of {WATER_MM3:.0f} mm³ of metal went into it"
    counted = [use for use in uses if use.holes >= ENOUGH_HOLES]
    if len(counted) > 1 and counted[0].shorts_a_hole > 0.0:
        rise = counted[-1].shorts_a_hole / counted[0].shorts_a_hole
        words += f"; shorts a hole {counted[-1].shorts_a_hole:.1f}, {rise:.1f} times those of its first run"
        share = max(share, (rise - 1.0) / (SHORTS_RISE - 1.0))
    known = [use.conductivity_us_cm for use in uses if use.conductivity_us_cm]
    if known:
        words += f"; {known[-1][0]:.0f} to {known[-1][1]:.0f} µS/cm"
    return State("water", share, words)


def _filter(uses: Sequence[RunUse]) -> State:
    removed = sum(use.removed_mm3 for use in uses)
    return State("filter", removed / FILTER_MM3, f"{removed:.0f} of {FILTER_MM3:.0f} mm³ of metal came to it")


def _plate(uses: Sequence[RunUse]) -> State:
    touches = sum(use.plate_touches for use in uses)
    spread = next((use.plate_spread_mm for use in reversed(uses) if use.plate_touches), 0.0)
    words = f"{touches} of {PLATE_TOUCHES} touches, repeats spread by {1e3 * spread:.1f} µm"
    return State("plate", max(touches / PLATE_TOUCHES, spread / PLATE_SPREAD_MM), words)


def _contact(uses: Sequence[RunUse]) -> State:
    openings, hot = sum(use.openings for use in uses), sum(use.hot_openings for use in uses)
    words = f"closed {openings} of {CONTACT_OPENINGS} times, opened hot {hot} times"
    return State("contact", (openings + HOT_COUNTS * hot) / CONTACT_OPENINGS, words)


_STATES: Final = {"water": _water, "filter": _filter, "plate": _plate, "contact": _contact}


def upkeep_file(workshop: Path, machine: str) -> Path:
    """Where it is kept what was seen to."""
    return workshop / "upkeep" / f"{machine}.toml"


def read_done(path: Path) -> tuple[Done, ...]:
    """What was seen to, oldest first; raises SettingsError for a file that can't be understood."""
    return load_overlay(path, None, _Sheet).done if path.is_file() else ()


def append_done(path: Path, entries: Sequence[Done]) -> None:
    """Add what was seen to; raises SettingsError for a file that can't be understood."""
    read_done(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8", newline="\n") as stream:
        text = "".join(
            f"\n[[done]]\nwhat = {toml_entry(each.what)}\nwhen_utc = {toml_entry(each.when_utc)}\n" for each in entries
        )
        stream.write(text if stream.tell() else _HEADING + text)
        stream.flush()
        os.fsync(stream.fileno())
