"""The journal of a run: one SQLite file that survives a crash, and from which everything else is made.

A run has a start record (what was to be done, with which settings), events in the order they happened, and a stop
record with its reason. A journal without a stop record behind its last event is that of a run that broke off or goes
on; one that is resumed gets more events and another stop record. Rehearsals add what the virtual machine knows and no
wire carries, in tables of their own, and the virtual machine itself, put aside. Gauged diameters come later, by hand.

Events wait in memory until `commit` writes them, in one transaction with full synchronisation (0.2 ms, measured:
design.md §9). What is told to anybody was committed before. A commit that fails (disk full, read-only) keeps what waits
and may be tried again. Nothing here reads a clock: times of day come in as text.

Only one process writes: it holds a lock on the folder, which the system takes back when it dies.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from sys import intern
from typing import Any

from controller.core import events
from controller.core.events import Event, Figure, HoleDoubted, HoleFinished
from controller.record.lock import FolderLock
from controller.settings.base import Settings

JOURNAL_NAME = "journal.sqlite"

# The layout below; raised whenever a table or the meaning of a column changes.
LAYOUT = 2

_TABLES = """
CREATE TABLE start (id INTEGER PRIMARY KEY CHECK (id = 1), record TEXT NOT NULL);
CREATE TABLE planned (rank INTEGER PRIMARY KEY, hole INTEGER NOT NULL UNIQUE, x_mm REAL NOT NULL, y_mm REAL NOT NULL);
CREATE TABLE event (seq INTEGER PRIMARY KEY, time_s REAL NOT NULL, kind TEXT NOT NULL, fields TEXT NOT NULL);
CREATE INDEX event_kind ON event (kind);
CREATE TABLE true_tip (seq INTEGER PRIMARY KEY, time_s REAL NOT NULL, tip_length_mm REAL NOT NULL);
CREATE TABLE true_hole (hole INTEGER PRIMARY KEY, entry_diameter_mm REAL NOT NULL, exit_diameter_mm REAL NOT NULL,
                        full_diameter_mm REAL NOT NULL, through INTEGER NOT NULL);
CREATE TABLE gauged (seq INTEGER PRIMARY KEY, hole INTEGER NOT NULL, diameter_mm REAL NOT NULL, u_mm REAL NOT NULL,
                     rod_mm REAL NOT NULL, when_utc TEXT NOT NULL);
CREATE TABLE stop (seq INTEGER PRIMARY KEY, record TEXT NOT NULL);
CREATE TABLE plant (id INTEGER PRIMARY KEY CHECK (id = 1), aside BLOB NOT NULL);
"""


class JournalError(Exception):
    """The journal is missing, is no journal, or was written by another version; the message names the file."""


class StartRecord(Settings):
    """What was to be done. Settings are kept as the text of their files, so that a later reader needs nothing else.

    Fields: names of job, machine and technology; texts of the files (`plant_toml` empty on a real machine,
    `calibration_toml` where nothing measured of the machine was believed); the nominal size in mm; the overcut believed
    at the start (controller.plan.overcut.Overcut, mm a side) and where it came from; seed, and whether a virtual
    operator answers (rehearsals only); versions by package; time of day at the start (UTC, ISO 8601); where job and
    machine file were found, for `resume` to see whether they changed.
    """

    job: str
    machine: str
    technology: str
    job_toml: str
    machine_toml: str
    technology_toml: str
    plant_toml: str = ""
    calibration_toml: str = ""
    thickness_mm: float
    rod_mm: float
    diameter_mm: float
    tolerance_mm: float
    overcut_mm: float
    overcut_u_mm: float
    overcut_scatter_mm: float
    overcut_n: int
    overcut_from: str
    rehearsed: bool
    seed: int | None = None
    operator: bool = True
    versions: dict[str, str]
    started_utc: str
    job_file: str = ""
    machine_file: str = ""


class StopRecord(Settings):
    """How the run ended: outcome and reason, machine time and wall time in seconds, time of day (UTC, ISO 8601)."""

    outcome: str
    reason: str
    machine_s: float
    wall_s: float
    stopped_utc: str


@dataclass(slots=True, frozen=True)
class PlacedHole:
    """A hole of the plan: its number and its place in the job's own frame (mm)."""

    hole: int
    x_mm: float
    y_mm: float


@dataclass(slots=True, frozen=True)
class TrueTip:
    """The tip length the virtual machine really had (mm), at a machine time."""

    time_s: float
    tip_length_mm: float


@dataclass(slots=True, frozen=True)
class TrueHole:
    """What a hole of the virtual machine really became (diameters in mm; exit 0 while it is blind).

    `exit_diameter_mm` is the largest pin that passes; `full_diameter_mm` what unlimited over-travel would have made.
    """

    hole: int
    entry_diameter_mm: float
    exit_diameter_mm: float
    full_diameter_mm: float
    through: bool


@dataclass(slots=True, frozen=True)
class GaugedHole:
    """A hole measured by hand: the largest pin that passes and its standard uncertainty, with the rod used (mm)."""

    hole: int
    diameter_mm: float
    u_mm: float
    rod_mm: float
    when_utc: str


@dataclass(slots=True, frozen=True)
class RunRecord:
    """A whole journal, read. `stop` is None while the run goes on and when it broke off; `wall_s` adds up its parts."""

    start: StartRecord
    planned: tuple[PlacedHole, ...]
    events: tuple[Event, ...]
    true_tips: tuple[TrueTip, ...]
    true_holes: tuple[TrueHole, ...]
    gauged: tuple[GaugedHole, ...]
    stop: StopRecord | None
    wall_s: float = 0.0

    def finished(self) -> dict[int, HoleFinished]:
        """Finished holes by number; a hole drilled again counts as it was left last, one that is doubted not at all."""
        finished: dict[int, HoleFinished] = {}
        for event in self.events:
            if isinstance(event, HoleFinished):
                finished[event.hole] = event
            elif isinstance(event, HoleDoubted):
                finished.pop(event.hole, None)
        return finished

    def gauged_last(self) -> dict[int, GaugedHole]:
        """Gauged holes by number; a hole gauged again counts as it was gauged last."""
        return {gauged.hole: gauged for gauged in self.gauged}


class Journal:
    """The journal of a run that is going on: append only.

    `Journal(run, start, planned)` begins one, `Journal.reopen(run)` goes on with one.

    Raises:
        JournalError: There is one already, there is none, or another process writes it.
        sqlite3.Error: The disk does not take it.
    """

    __slots__ = ("_connection", "_lock", "_seq", "_tips", "_truths", "_waiting")

    def __init__(self, run: Path, start: StartRecord | None, planned: Iterable[PlacedHole] = ()) -> None:
        path = run / JOURNAL_NAME
        if start is not None and path.exists():
            raise JournalError(f"{path}: there is a journal here already; choose another folder")
        last = 0 if start is not None else _last(run)
        self._lock = _locked(run)
        self._begin(path, last)
        if start is None:
            return
        # One transaction: a power cut leaves a whole journal with its start record, or none.
        with self._connection:
            self._connection.execute("BEGIN")
            for statement in _TABLES.strip().split(";\n"):
                self._connection.execute(statement)
            self._connection.execute(f"PRAGMA user_version={LAYOUT}")
            self._connection.execute("INSERT INTO start VALUES (1, ?)", (start.model_dump_json(),))
            ranked = ((rank, place.hole, place.x_mm, place.y_mm) for rank, place in enumerate(planned, 1))
            self._connection.executemany("INSERT INTO planned VALUES (?, ?, ?, ?)", ranked)

    @classmethod
    def reopen(cls, run: Path) -> Journal:
        """Go on with the journal of a run that ended or broke off."""
        return cls(run, None)

    def _begin(self, path: Path, last: int) -> None:
        self._connection = sqlite3.connect(path)
        self._connection.execute("PRAGMA journal_mode=WAL")
        self._connection.execute("PRAGMA synchronous=FULL")
        self._waiting: list[Event] = []
        self._tips: list[TrueTip] = []
        self._truths: list[TrueHole] = []
        self._seq = last

    @property
    def waiting(self) -> int:
        """How many events are not on the disk yet."""
        return len(self._waiting)

    def append(self, event: Event) -> None:
        """Add an event; it is on the disk after the next commit."""
        self._waiting.append(event)

    def append_true_tip(self, tip: TrueTip) -> None:
        """Add the tip length the virtual machine really has; written together with the next events."""
        self._tips.append(tip)

    def append_true_hole(self, truth: TrueHole) -> None:
        """Add (or renew) what a hole of the virtual machine really became; likewise."""
        self._truths.append(truth)

    def commit(self, aside: bytes | None = None) -> None:
        """Write what waits to the disk, and with it the virtual machine as it is now, put aside (rehearsals)."""
        rows = [(self._seq + number, *_event_row(event)) for number, event in enumerate(self._waiting, 1)]
        tips = [(tip.time_s, tip.tip_length_mm) for tip in self._tips]
        truths = [(*list(asdict(truth).values())[:-1], int(truth.through)) for truth in self._truths]
        if not (rows or tips or truths or aside):
            return
        with self._connection:
            self._connection.executemany("INSERT INTO event VALUES (?, ?, ?, ?)", rows)
            self._connection.executemany("INSERT INTO true_tip (time_s, tip_length_mm) VALUES (?, ?)", tips)
            self._connection.executemany("INSERT OR REPLACE INTO true_hole VALUES (?, ?, ?, ?, ?)", truths)
            if aside:
                self._connection.execute("INSERT OR REPLACE INTO plant VALUES (1, ?)", (aside,))
        self._seq += len(rows)
        self._waiting.clear()
        self._tips.clear()
        self._truths.clear()

    def abandon(self) -> None:
        """Close without writing what waits: a rehearsal's events are nothing without the machine that they befell."""
        self._connection.close()
        self._lock.release()

    def close(self, stop: StopRecord | None) -> None:
        """Write what waits and the stop record, and close; the folder is left with one plain file.

        Without a stop record the journal is that of a run that broke off: readable, and known to be unfinished.
        """
        try:
            self.commit()
            if stop is not None:
                with self._connection:
                    row = (self._seq, stop.model_dump_json())
                    self._connection.execute("INSERT OR REPLACE INTO stop VALUES (?, ?)", row)
        finally:
            self._connection.close()
            self._lock.release()


def _last(run: Path) -> int:
    """Number of the last event in the journal of a run."""
    with _opened(run) as connection:
        (last,) = connection.execute("SELECT coalesce(max(seq), 0) FROM event").fetchone()
        return int(last)


def _locked(run: Path) -> FolderLock:
    """The lock of a run's folder. Raises JournalError when another process has it."""
    lock = FolderLock(run)
    if not lock.taken:
        raise JournalError(f"{run / JOURNAL_NAME}: another process writes this journal; the run still goes on there")
    return lock


def _event_row(event: Event) -> tuple[float, str, str]:
    """An event as time, kind and the JSON of its other fields."""
    named = event.row()
    return named.pop("time_s"), named.pop("kind"), json.dumps(named, separators=(",", ":"))


def append_gauged(run: Path, gauged: Iterable[GaugedHole]) -> None:
    """Add holes measured by hand to the journal of a run; nothing already there is changed.

    Raises:
        JournalError: No readable journal in that folder, or the run still goes on.
    """
    _last(run)
    rows = [tuple(asdict(hole).values()) for hole in gauged]
    with closing(_locked(run)), _opened(run, to_write=True) as connection, connection:
        connection.executemany(
            "INSERT INTO gauged (hole, diameter_mm, u_mm, rod_mm, when_utc) VALUES (?, ?, ?, ?, ?)", rows
        )


def read_aside(run: Path) -> bytes | None:
    """The virtual machine of a rehearsal as it was put aside last; None when there is none.

    Raises:
        JournalError: No readable journal in that folder.
    """
    with _opened(run) as connection:
        row = connection.execute("SELECT aside FROM plant").fetchone()
        return bytes(row[0]) if row else None


def read_journal(run: Path, *, without: Collection[str] = ()) -> RunRecord:
    """Read the journal of a run, whether the run ended, crashed or goes on; kinds of event named in `without` left out.

    Raises:
        JournalError: No readable journal in that folder.
    """
    with _opened(run) as connection:
        (start,) = connection.execute("SELECT record FROM start").fetchone()
        stops = connection.execute("SELECT seq, record FROM stop ORDER BY seq").fetchall()
        (last,) = connection.execute("SELECT coalesce(max(seq), 0) FROM event").fetchone()
        stopped = [StopRecord.model_validate_json(record) for _, record in stops]
        truths = connection.execute("SELECT * FROM true_hole ORDER BY hole")
        return RunRecord(
            start=StartRecord.model_validate_json(start),
            planned=tuple(PlacedHole(*row) for row in connection.execute(_PLANNED)),
            events=tuple(_event(*row) for row in connection.execute(_EVENTS, (json.dumps([*without]),))),
            true_tips=tuple(TrueTip(*row) for row in connection.execute(_TIPS)),
            true_holes=tuple(_true_hole(*row) for row in truths),
            gauged=tuple(GaugedHole(*row) for row in connection.execute(_GAUGED)),
            stop=stopped[-1] if stops and stops[-1][0] == last else None,
            wall_s=sum(stop.wall_s for stop in stopped),
        )


def _true_hole(hole: int, entry_mm: float, exit_mm: float, full_mm: float, through: int) -> TrueHole:
    return TrueHole(hole, entry_mm, exit_mm, full_mm, bool(through))


_PLANNED = "SELECT hole, x_mm, y_mm FROM planned ORDER BY rank"
_EVENTS = """SELECT time_s, kind, fields FROM event WHERE kind NOT IN (SELECT value FROM json_each(?)) ORDER BY seq"""
_TIPS = "SELECT time_s, tip_length_mm FROM true_tip ORDER BY seq"
_GAUGED = "SELECT hole, diameter_mm, u_mm, rod_mm, when_utc FROM gauged ORDER BY seq"


@contextmanager
def _opened(run: Path, *, to_write: bool = False) -> Iterator[sqlite3.Connection]:
    """The journal of the folder `run`, open; every way in which it may be no journal of ours ends as JournalError.

    Opened for reading, nothing in the folder is changed, not even what a crash left behind.
    """
    path = run / JOURNAL_NAME
    if not path.is_file():
        raise JournalError(f"{path}: no journal here; name the folder of a run (the one given with --out)")
    try:
        with closing(sqlite3.connect(_uri(path, to_write=to_write), uri=True)) as connection:
            (layout,) = connection.execute("PRAGMA user_version").fetchone()
            if layout == 0:
                raise JournalError(f"{path}: was never begun; nothing was done, so start anew in another folder")
            if layout != LAYOUT:
                raise JournalError(f"{path}: layout {layout} of another version; this one reads layout {LAYOUT}")
            yield connection
    except (sqlite3.Error, OverflowError, TypeError, ValueError) as error:
        if getattr(error, "sqlite_errorname", "") == "SQLITE_FULL":  # even to read, SQLite keeps an index beside it
            raise JournalError(f"{path}: can't be looked at while the disk is full; make room, then again") from error
        raise JournalError(f"{path}: can't be read as a journal ({error}); take a copy and look at the disk") from error


def _uri(path: Path, *, to_write: bool) -> str:
    """How SQLite is told to open it. Without a write-ahead file nobody writes, and none need be made to read."""
    place = path.resolve().as_uri()
    if to_write:
        return f"{place}?mode=rw"
    return f"{place}?mode=ro" if path.with_name(path.name + "-wal").exists() else f"{place}?mode=ro&immutable=1"


_EVENT_KINDS: dict[str, type[Event]] = {
    name: shape for name, shape in vars(events).items() if isinstance(shape, type) and issubclass(shape, Event)
}


def _part(held: Any) -> Any:
    """A part of a list in an event: a figure was written as its fields."""
    return Figure(**held) if isinstance(held, dict) else held


def _event(time_s: float, kind: str, packed: str) -> Event:
    """The event of a row. TypeError when kind or fields are not ours (the caller names the file)."""
    shape = _EVENT_KINDS.get(kind)
    if shape is None:
        raise TypeError(f"unknown kind of event {kind!r}")
    named: dict[str, Any] = json.loads(packed)
    # Words are few and come again and again: one of each is kept.
    named = {name: intern(held) if isinstance(held, str) else held for name, held in named.items()}
    tupled = {name: tuple(map(_part, held)) if isinstance(held, list) else held for name, held in named.items()}
    if {field.name for field in fields(shape)} != {"time_s", *tupled}:
        raise TypeError(f"the fields of a {kind} don't match this version")
    return shape(time_s=time_s, **tupled)
