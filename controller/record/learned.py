"""What a workshop has learned: holes gauged by hand, kept beside the jobs in `learned/<machine>/<technology>.toml`.

The file is only ever added to, so a mistake is corrected by entering the hole again: the last entry for a hole of a
run counts. Entries from a rehearsal say so. They are about the virtual machine and are never used for a real run, nor
the other way round.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path

from pydantic import Field

from controller.plan.overcut import Gauged
from controller.record.journal import GaugedHole, StartRecord
from controller.settings.base import Settings
from controller.settings.load import load_overlay

_HEADING = """\
# Holes gauged by hand. Only ever added to; the last entry for a hole of a run counts.
"""


class Entry(Settings):
    """One gauged hole: where it comes from and what the gauge said (mm)."""

    run: str
    job: str
    hole: int = Field(ge=1)
    diameter_mm: float = Field(gt=0)
    uncertainty_mm: float = Field(gt=0)
    rod_mm: float = Field(gt=0)
    rehearsed: bool
    when_utc: str


class _Sheet(Settings):
    gauged: tuple[Entry, ...] = ()


def learned_file(workshop: Path, machine: str, technology: str) -> Path:
    """Where the holes gauged on a machine with a technology are kept."""
    return workshop / "learned" / machine / f"{technology}.toml"


def read_learned(workshop: Path, machine: str, technology: str, *, rehearsed: bool) -> list[Gauged]:
    """The gauged holes that count, of rehearsals or of real runs; empty when there are none.

    Raises:
        SettingsError: The file is there but can't be understood; every mistake is named.
    """
    path = learned_file(workshop, machine, technology)
    last = {(entry.run, entry.hole): entry for entry in _entries(path) if entry.rehearsed == rehearsed}
    return [_gauged(entry) for entry in last.values()]


def append_learned(workshop: Path, run: Path, start: StartRecord, holes: Iterable[GaugedHole]) -> Path:
    """Add gauged holes of a run to the workshop's file unless they stand there already; returns the file.

    Raises:
        SettingsError: The file is there but can't be understood.
    """
    path = learned_file(workshop, start.machine, start.technology)
    last = {(entry.run, entry.hole): (entry.diameter_mm, entry.uncertainty_mm) for entry in _entries(path)}
    path.parent.mkdir(parents=True, exist_ok=True)
    place = str(run.resolve())
    new = [hole for hole in holes if last.get((place, hole.hole)) != (hole.diameter_mm, hole.u_mm)]
    text = "".join(_entry_text(place, start, hole) for hole in new)
    with path.open("a", encoding="utf-8", newline="\n") as stream:
        stream.write(text if stream.tell() else _HEADING + text)
        stream.flush()
        os.fsync(stream.fileno())
    return path


def _entries(path: Path) -> tuple[Entry, ...]:
    return load_overlay(path, None, _Sheet).gauged if path.is_file() else ()


def _gauged(entry: Entry) -> Gauged:
    return Gauged(hole=entry.hole, diameter_mm=entry.diameter_mm, u_mm=entry.uncertainty_mm, rod_mm=entry.rod_mm)


def _entry_text(place: str, start: StartRecord, hole: GaugedHole) -> str:
    """One entry as TOML."""
    return (
        "\n[[gauged]]\n"
        f"run = {_quoted(place)}\n"
        f"job = {_quoted(start.job)}\n"
        f"hole = {hole.hole}\n"
        f"diameter_mm = {hole.diameter_mm!r}\n"
        f"uncertainty_mm = {hole.u_mm!r}\n"
        f"rod_mm = {hole.rod_mm!r}\n"
        f"rehearsed = {str(start.rehearsed).lower()}\n"
        f"when_utc = {_quoted(hole.when_utc)}\n"
    )


def _quoted(text: str) -> str:
    """Any text as a TOML basic string: a JSON string, but for the one control character that JSON lets stand."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
