"""The tables and the summary say what the journal says, in fixed formats."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from controller.record.journal import GaugedHole, append_gauged, read_journal
from controller.record.run_folder import RunFolderError, complete_run_folder, make_run_folder
from controller.record.summary import UNFINISHED, spoken_time, summarise
from tests.record.made_up import MadeUpRun

# Columns and keys frozen in interfaces.md ("Files of a run").
HOLE_COLUMNS = (
    "index,x_mm,y_mm,outcome,start_s,seconds,erode_s,depth_mm,wear_mm,"
    "exit_diameter_mm,exit_diameter_u_mm,shorts,recoveries"
)
TRUTH_COLUMNS = "index,entry_diameter_mm,exit_diameter_mm,full_diameter_mm,through"
SUMMARY_KEYS = {
    "job",
    "machine",
    "seed",
    "outcome",
    "reason",
    "holes_total",
    "holes_through",
    "holes_failed",
    "machine_seconds",
    "wall_seconds",
    "erode_seconds",
    "measure_seconds",
    "measurements",
    "electrode_advances",
    "shorts",
    "recoveries",
    "operator_prompts",
}


@pytest.fixture
def run(tmp_path: Path) -> Path:
    """The folder of a complete made-up run of 60 holes."""
    MadeUpRun(60).write(tmp_path)
    complete_run_folder(tmp_path)
    return tmp_path


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def test_holes_csv_has_the_frozen_columns_and_a_row_for_every_finished_hole(run: Path) -> None:
    """Rows stand in the order of the holes' numbers and hold what the events said, to the last digit written."""
    assert (run / "holes.csv").read_text(encoding="utf-8").splitlines()[0] == HOLE_COLUMNS
    finished = read_journal(run).finished()
    table = rows(run / "holes.csv")
    assert [int(row["index"]) for row in table] == sorted(finished)
    for row in table:
        hole = finished[int(row["index"])]
        assert row["outcome"] == hole.outcome
        assert float(row["exit_diameter_mm"]) == pytest.approx(hole.exit_diameter_mm, abs=5e-5)
        assert float(row["erode_s"]) == pytest.approx(hole.erode_s, abs=5e-3)
        assert int(row["shorts"]) == hole.shorts


def test_places_in_holes_csv_are_those_of_the_job_file(run: Path) -> None:
    """The first hole of the made-up plan stands at 3, 3 in the job's frame."""
    assert (rows(run / "holes.csv")[0]["x_mm"], rows(run / "holes.csv")[0]["y_mm"]) == ("3.000", "3.000")


def test_truth_csv_has_the_frozen_columns_and_tells_blind_from_through(run: Path) -> None:
    """Hole 12 of the made-up run is blind, the others are through."""
    assert (run / "truth.csv").read_text(encoding="utf-8").splitlines()[0] == TRUTH_COLUMNS
    assert [row["index"] for row in rows(run / "truth.csv") if row["through"] == "false"] == ["12"]


def test_summary_json_has_every_frozen_key(run: Path) -> None:
    """Nothing that outside checks hold on to is missing."""
    assert json.loads((run / "summary.json").read_text(encoding="utf-8")).keys() >= SUMMARY_KEYS


def test_the_summary_counts_what_the_events_hold(run: Path) -> None:
    """One hole is blind and one undersize by construction; sums are those of the finished holes."""
    record = read_journal(run)
    summary = summarise(record)
    assert (summary.holes_through, summary.holes_failed, summary.holes_undersize) == (58, 2, 1)
    assert summary.erode_seconds == pytest.approx(sum(hole.erode_s for hole in record.finished().values()), abs=1e-3)
    assert summary.measure_seconds == 30.0 * summary.measurements
    assert (summary.operator_prompts, summary.operator_rescues) == (0, 0)


def test_the_same_run_gives_the_same_bytes(tmp_path: Path) -> None:
    """Two runs with the same seed have byte-identical tables."""
    for name in ("one", "two"):
        folder = tmp_path / name
        make_run_folder(folder)
        MadeUpRun(40, seed=7).write(folder)
        complete_run_folder(folder)
    for table in ("holes.csv", "truth.csv"):
        assert (tmp_path / "one" / table).read_bytes() == (tmp_path / "two" / table).read_bytes()


def test_a_run_that_broke_off_is_completed_as_far_as_it_got(tmp_path: Path) -> None:
    """Without a stop record the folder gets all its files and the outcome says that the run is unfinished."""
    MadeUpRun(25).write(tmp_path, stopped=False)
    summary = complete_run_folder(tmp_path)
    assert summary.outcome == UNFINISHED
    assert {path.name for path in tmp_path.iterdir()} == {
        "journal.sqlite",
        "holes.csv",
        "truth.csv",
        "summary.json",
        "report.html",
    }


def test_a_gauged_run_lists_its_gauged_holes(run: Path) -> None:
    """`gauged.csv` holds every entry in the order entered, corrections too."""
    append_gauged(run, [GaugedHole(3, 1.5, 0.01, 1.2, "2026-01-03T00:00:00Z")])
    append_gauged(run, [GaugedHole(3, 1.49, 0.01, 1.2, "2026-01-03T00:01:00Z")])
    complete_run_folder(run)
    assert [row["diameter_mm"] for row in rows(run / "gauged.csv")] == ["1.5000", "1.4900"]


def test_a_folder_with_something_in_it_takes_no_run(tmp_path: Path) -> None:
    """The message names the folder and says which one would do; nothing is touched."""
    (tmp_path / "mine.txt").write_text("keep", encoding="utf-8")
    with pytest.raises(RunFolderError, match="holds files already; name a folder that is absent or empty"):
        make_run_folder(tmp_path)
    with pytest.raises(RunFolderError, match="is a file"):
        make_run_folder(tmp_path / "mine.txt")
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize(
    ("seconds", "spoken"),
    [(0.4, "0 s"), (59.4, "59 s"), (59.6, "1 min 00 s"), (3599.4, "59 min 59 s"), (15120.0, "4 h 12 min")],
)
def test_times_are_spoken_in_their_two_largest_units(seconds: float, spoken: str) -> None:
    """Rounding never yields sixty seconds or sixty minutes."""
    assert spoken_time(seconds) == spoken
