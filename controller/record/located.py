"""What was located on a plate, kept beside the jobs in `located/<machine>/<plate>.toml`.

Only ever added to. `new` says that the plate was clamped anew: what stands above it counts no more. What was located in
a rehearsal says so and is never used for a real run, nor the other way round.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from pydantic import Field

from controller.plan.work_frame import Feature
from controller.settings.base import Settings
from controller.settings.load import load_overlay
from controller.settings.text import toml_entry

_HEADING = """\
# What was located on this plate (mm and degrees, standard uncertainties). Only ever added to; after `what = "new"` the
# plate was clamped anew and nothing above counts.
"""
STAMP = "%Y-%m-%dT%H:%M:%SZ"

Pair = tuple[float, float]
Triple = tuple[float, float, float]


class Entry(Settings):
    """One thing located."""

    what: Literal["plane", "edge", "corner", "bore", "boss", "new"]
    when_utc: str
    rehearsed: bool
    job: str = ""
    at_mm: Pair = (0.0, 0.0)
    along: int = Field(0, ge=0, le=1)
    x_mm: float = 0.0
    y_mm: float = 0.0
    u_mm: Pair = (0.0, 0.0)
    angle_deg: float = 0.0
    u_angle_deg: float = 0.0
    diameter_mm: float = 0.0
    face_mm: Triple = (0.0, 0.0, 0.0)
    u_face_mm: float = 0.0
    slope: Pair = (0.0, 0.0)

    def feature(self) -> Feature:
        """As the plan takes it."""
        return Feature(
            self.what,
            self.at_mm,
            self.along,
            self.x_mm,
            self.y_mm,
            self.u_mm,
            self.angle_deg,
            self.u_angle_deg,
            self.face_mm,
            self.u_face_mm,
            self.slope,
        )

    def age_h(self, now: datetime) -> float:
        """Hours since."""
        when = datetime.strptime(self.when_utc, STAMP).replace(tzinfo=UTC)
        return (now - when).total_seconds() / 3600.0


class _Sheet(Settings):
    located: tuple[Entry, ...] = ()


def located_file(workshop: Path, machine: str, plate: str) -> Path:
    """Where what was located on a plate is kept."""
    return workshop / "located" / machine / f"{plate}.toml"


def read_located(path: Path, *, rehearsed: bool) -> list[Entry]:
    """What counts, oldest first; empty when nothing was located.

    Raises:
        SettingsError: The file is there but can't be understood.
    """
    entries = load_overlay(path, None, _Sheet).located if path.is_file() else ()
    counts: list[Entry] = []
    for entry in entries:
        if entry.rehearsed == rehearsed:
            counts = [] if entry.what == "new" else [*counts, entry]
    return counts


def append_located(path: Path, entries: Sequence[Entry]) -> None:
    """Add entries; what stands there stays.

    Raises:
        SettingsError: The file is there but can't be understood.
    """
    if path.is_file():
        load_overlay(path, None, _Sheet)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8", newline="\n") as stream:
        text = "".join(_text(entry) for entry in entries)
        stream.write(text if stream.tell() else _HEADING + text)
        stream.flush()
        os.fsync(stream.fileno())


def _text(entry: Entry) -> str:
    told = entry.model_dump(exclude_defaults=True)
    return "\n[[located]]\n" + "".join(f"{key} = {toml_entry(value)}\n" for key, value in told.items())
