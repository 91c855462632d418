"""The tables of a run: `holes.csv` and `truth.csv`, with fixed formats so that the same run gives the same bytes.

Places are in the job's own frame, as in the job file. Lengths carry a tenth of a micrometre, times a hundredth of a
second: both finer than anything the machine can know, and coarse enough that a last-bit difference never shows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from controller.core.events import HoleFinished
from controller.record.files import write_whole
from controller.record.journal import GaugedHole, RunRecord, TrueHole

HOLES_HEAD = (
    "index,x_mm,y_mm,outcome,start_s,seconds,erode_s,depth_mm,wear_mm,"
    "exit_diameter_mm,exit_diameter_u_mm,shorts,recoveries"
)
TRUTH_HEAD = "index,entry_diameter_mm,exit_diameter_mm,full_diameter_mm,through"
GAUGED_HEAD = "index,diameter_mm,uncertainty_mm,rod_mm,when_utc"


def write_tables(run: Path, record: RunRecord) -> None:
    """Write `holes.csv`, and for a rehearsal `truth.csv`, into the folder of the run."""
    write_whole(run / "holes.csv", _table(HOLES_HEAD, _hole_rows(record)))
    if record.start.rehearsed:
        write_whole(run / "truth.csv", truth_table(record.true_holes))


def truth_table(holes: Iterable[TrueHole]) -> str:
    """The text of `truth.csv`: what a virtual plant really made, hole by hole."""
    return _table(TRUTH_HEAD, map(_truth_row, holes))


def write_gauged(run: Path, record: RunRecord) -> None:
    """Write `gauged.csv`: every hole measured by hand, in the order entered."""
    write_whole(run / "gauged.csv", _table(GAUGED_HEAD, map(_gauged_row, record.gauged)))


def _table(head: str, rows: Iterable[str]) -> str:
    return "\n".join([head, *rows]) + "\n"


def _hole_rows(record: RunRecord) -> Iterator[str]:
    """Finished holes by number. No field can hold a comma: outcomes are words of ours, all else is a number."""
    places = {place.hole: place for place in record.planned}
    for hole, finished in sorted(record.finished().items()):
        place = places[hole]
        yield _hole_row(finished, place.x_mm, place.y_mm)


def _hole_row(hole: HoleFinished, x_mm: float, y_mm: float) -> str:
    return (
        f"{hole.hole},{x_mm:.3f},{y_mm:.3f},{hole.outcome},"
        f"{hole.start_s:.2f},{hole.seconds:.2f},{hole.erode_s:.2f},{hole.depth_mm:.4f},{hole.wear_mm:.4f},"
        f"{hole.exit_diameter_mm:.4f},{hole.exit_diameter_u_mm:.4f},{hole.shorts},{hole.recoveries}"
    )


def _truth_row(truth: TrueHole) -> str:
    return (
        f"{truth.hole},{truth.entry_diameter_mm:.4f},{truth.exit_diameter_mm:.4f},"
        f"{truth.full_diameter_mm:.4f},{str(truth.through).lower()}"
    )


def _gauged_row(gauged: GaugedHole) -> str:
    return f"{gauged.hole},{gauged.diameter_mm:.4f},{gauged.u_mm:.4f},{gauged.rod_mm:.4f},{gauged.when_utc}"
