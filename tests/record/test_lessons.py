"""What runs teach, from a made-up run whose figures are known by construction; and the file that is written of it."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from controller.cli import app
from controller.core.events import SourceLearned
from controller.plan.budget import budget
from controller.plan.build import build_plan
from controller.plan.overcut import Overcut
from controller.plan.wear import disc_area_mm2
from controller.record.journal import GaugedHole, RunRecord, append_gauged, read_journal
from controller.record.lessons import CARRIED, LessonError, Lessons, learn_from
from controller.settings.find import packaged_configs
from controller.settings.load import load_job, load_machine, load_technology
from tests.record import made_up
from tests.record.made_up import MadeUpRun

TECHNOLOGY = packaged_configs() / "technology" / "tungsten-on-stainless.toml"
JOB = packaged_configs() / "jobs" / "diffuser.toml"


def folder_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, count: int = 80, **changes: object) -> Path:
    texts = {"technology_toml": TECHNOLOGY.read_text(encoding="utf-8"), "job_toml": JOB.read_text(encoding="utf-8")}
    monkeypatch.setattr(made_up, "START", made_up.START.model_copy(update=texts | changes))
    run = tmp_path / "run"
    run.mkdir()
    made = MadeUpRun(count)
    made.events.insert(-1, SourceLearned(made.time_s, 0.4, 0.07, 0.35, 900.0))
    made.write(run)
    return run


def lessons(run: Path) -> Lessons:
    return learn_from([read_journal(run)])


def figure(found: Lessons, key: str) -> tuple[float, float, int]:
    lesson = next(each for each in found.lessons if each.key == key)
    return lesson.proposed.guess, lesson.proposed.u, lesson.holes


def test_removal_is_volume_over_time_at_work_in_the_holes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Holes of 1.2 + 2·0.14 mm in 1 mm, some 33.8 s of eroding each and 1 s more than the budget counts around each."""
    found = lessons(folder_of(tmp_path, monkeypatch))
    guess, u, holes = figure(found, "removal_mm3_s")
    assert holes == 78  # one failed, one undersize
    assert guess == pytest.approx(disc_area_mm2(1.48) / 34.8, rel=0.02)
    # Holes scatter by 15 % (one of them took three times as long), over the root of 78; then what is carried over.
    assert u / guess == pytest.approx(math.hypot(0.15 / 78**0.5, CARRIED), abs=0.005)


def test_wear_is_length_lost_between_measurements(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """0.18 mm of a 1.2 mm rod for each hole, and half of a fresh cone: 0.118 and a little."""
    found = lessons(folder_of(tmp_path, monkeypatch))
    guess, u, holes = figure(found, "volumetric_wear")
    assert holes >= 72
    steady = 0.18 * disc_area_mm2(1.2) / disc_area_mm2(1.48)
    assert steady < guess < 1.06 * steady
    assert u < 0.1 * guess


def test_an_advance_between_two_measurements_teaches_no_wear(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    guess, _, _ = figure(lessons(folder_of(tmp_path, monkeypatch, 240)), "volumetric_wear")
    assert guess == pytest.approx(0.18 * disc_area_mm2(1.2) / disc_area_mm2(1.48), rel=0.05)


def seconds_a_hole(found: Lessons) -> tuple[float, float]:
    """What a plan makes of what was learned: expected, and how wide the range is."""
    job, taught = load_job(JOB), found.taught()
    machine = load_machine(packaged_configs() / "machines" / "virtual.toml")
    believed = Overcut(taught.overcut_mm.guess, taught.overcut_mm.u, 0.0, 0)
    stated = budget(job, machine, taught, build_plan(job, machine), believed).work_seconds
    return stated.expected / 320, (stated.high - stated.low) / 320


def test_gauged_holes_teach_the_overcut_and_make_a_plan_surer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However large the holes turn out to be, as many of them take as long; how sure that is hangs on the gauge."""
    run = folder_of(tmp_path, monkeypatch)
    before_s, before_wide_s = seconds_a_hole(lessons(run))
    append_gauged(run, [GaugedHole(hole, 1.50, 0.01, 1.2, "2026-01-02T04:00:00Z") for hole in (1, 2, 3, 4, 5, 6)])
    guess, u, holes = figure(lessons(run), "overcut_mm")
    assert (guess, holes) == (pytest.approx(0.15, abs=0.001), 6)
    assert u < 0.008
    after_s, after_wide_s = seconds_a_hole(lessons(run))
    assert before_s == pytest.approx(34.8, rel=0.02)
    assert after_s == pytest.approx(before_s, rel=1e-9)
    assert after_wide_s < 0.8 * before_wide_s


def test_drop_outs_are_as_the_run_believed_them_at_its_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = lessons(folder_of(tmp_path, monkeypatch))
    assert found.drop_outs is not None
    assert (found.drop_outs.rate_hz, found.drop_outs.median_s, found.drop_outs.longest_s) == (0.4, 0.07, 0.35)


def test_runs_that_dont_belong_together_teach_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = read_journal(folder_of(tmp_path, monkeypatch))
    other = replace(record, start=record.start.model_copy(update={"machine": "other"}))
    real = replace(record, start=record.start.model_copy(update={"rehearsed": False}))
    few: RunRecord = replace(record, events=record.events[:9])
    for records, words in (([record, other], "by itself"), ([record, real], "rehearsals"), ([few], "are needed")):
        with pytest.raises(LessonError, match=words):
            learn_from(records)


def test_the_users_own_file_is_written_only_when_told_and_what_stood_there_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = folder_of(tmp_path, monkeypatch, rehearsed=False)
    monkeypatch.chdir(tmp_path)
    own = Path("configs/technology/some-pair.toml")

    def learn(*arguments: str) -> str:
        done = CliRunner().invoke(app, ["learn", str(run), *arguments])
        assert done.exit_code == 0, done.output
        return done.output

    assert "Nothing was written" in learn()
    assert not own.exists()
    assert "Written: configs/technology/some-pair.toml" in learn("--write")
    taught = load_technology(own)
    assert taught.removal_mm3_s.guess == pytest.approx(0.0494, abs=0.001)
    assert taught.cone_diameters == load_technology(TECHNOLOGY).cone_diameters
    own.write_text("# mine\n" + own.read_text(encoding="utf-8"), encoding="utf-8")
    assert "is kept as" in learn("--write")
    (kept,) = own.parent.glob("some-pair-before-*.toml")
    assert kept.read_text(encoding="utf-8").startswith("# mine")


def test_a_rehearsal_is_written_down_only_under_a_name_given_and_shipped_files_never(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = folder_of(tmp_path, monkeypatch)
    monkeypatch.chdir(tmp_path)
    refused = CliRunner().invoke(app, ["learn", str(run), "--write"])
    assert refused.exit_code == 2
    assert "these runs are rehearsals" in refused.output
    shipped = CliRunner().invoke(app, ["learn", str(run), "--to", str(TECHNOLOGY)])
    assert shipped.exit_code == 2
    assert "is a shipped file and never changes" in shipped.output
