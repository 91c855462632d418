"""The commands, run whole: what they print, what they leave behind, and how they end."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from controller.cli import app
from controller.core.events import PromptRaised
from controller.record.journal import read_journal

JOB = """
[job]
name = "{name}"
technology = "tungsten-on-stainless"
first_article = {first_article}

[work]
material = "stainless steel"
thickness_mm = 0.3
clear_below_mm = 6.0
touch_points_mm = [[2.0, 2.0], [28.0, 2.0], [15.0, 22.0]]

[electrode]
material = "tungsten"
diameter_mm = {rod_mm}
length_mm = 120.0
min_length_mm = 25.0

[holes]
diameter_mm = 1.5
tolerance_mm = 0.05

[[holes.pattern]]
kind = "list"
at_mm = {holes}
"""


def write_job(folder: Path, name: str = "small", holes: str = "[[10.0, 10.0], [16.0, 10.0]]", **keys: str) -> Path:
    """A job of two holes in thin sheet; `keys` replace figures."""
    path = folder / f"{name}.toml"
    entries = {"first_article": "false", "rod_mm": "1.2", "name": name, "holes": holes} | keys
    path.write_text(JOB.format(**entries), encoding="utf-8")
    return path


def gapwright(*arguments: str | Path) -> Result:
    """Run the command line in this process."""
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


@pytest.fixture(autouse=True)
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Every test works in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def first_article(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A first article of two holes, rehearsed once for all tests that only read it."""
    folder = tmp_path_factory.mktemp("first")
    done = gapwright(
        "rehearse", write_job(folder, "piece", first_article="true"), "--seed", "3", "--out", folder / "run"
    )
    assert done.exit_code == 0, done.output
    return folder / "run"


def copied(run: Path, to: Path) -> Path:
    """A copy of a run folder, to be changed."""
    to.mkdir()
    for path in run.iterdir():
        (to / path.name).write_bytes(path.read_bytes())
    return to


def test_a_rehearsal_leaves_the_files_that_the_interface_promises(first_article: Path) -> None:
    """Journal, tables, summary and report, and for a rehearsal the truth."""
    assert {path.name for path in first_article.iterdir()} == {
        "journal.sqlite",
        "holes.csv",
        "truth.csv",
        "summary.json",
        "report.html",
        "gauged.csv",
    }
    summary = json.loads((first_article / "summary.json").read_text(encoding="utf-8"))
    assert (summary["outcome"], summary["holes_total"], summary["holes_through"]) == ("complete", 2, 2)
    assert summary["seed"] == 3


def test_the_virtual_operator_gauges_a_first_article_near_its_truth(first_article: Path) -> None:
    """Pins are off by 0.01 mm standard uncertainty (interfaces.md); five of them are never exceeded by chance here."""
    with (first_article / "truth.csv").open(encoding="utf-8") as stream:
        truths = {row["index"]: float(row["exit_diameter_mm"]) for row in csv.DictReader(stream)}
    with (first_article / "gauged.csv").open(encoding="utf-8") as stream:
        gauged = {row["index"]: float(row["diameter_mm"]) for row in csv.DictReader(stream)}
    assert gauged.keys() == truths.keys()
    assert all(abs(gauged[hole] - truths[hole]) < 0.05 for hole in truths)
    assert gauged != truths


def test_the_same_seed_gives_the_same_bytes(first_article: Path, workshop: Path) -> None:
    """holes.csv and truth.csv of a second rehearsal with the same seed are equal to the last byte."""
    job = write_job(workshop, "piece", first_article="true")
    assert gapwright("rehearse", job, "--seed", "3", "--out", "again").exit_code == 0
    for table in ("holes.csv", "truth.csv"):
        assert (workshop / "again" / table).read_bytes() == (first_article / table).read_bytes()


def test_another_seed_gives_another_plant(first_article: Path, workshop: Path) -> None:
    """The seed is not for show."""
    job = write_job(workshop, "piece", first_article="true")
    assert gapwright("rehearse", job, "--seed", "4", "--out", "other").exit_code == 0
    assert (workshop / "other" / "truth.csv").read_bytes() != (first_article / "truth.csv").read_bytes()


def test_json_output_is_the_summary_and_nothing_else(workshop: Path) -> None:
    """Standard output parses, and equals summary.json."""
    job = write_job(workshop, holes="[[10.0, 10.0]]")
    done = gapwright("rehearse", job, "--out", "run", "--json")
    assert json.loads(done.stdout) == json.loads((workshop / "run" / "summary.json").read_text(encoding="utf-8"))


def test_without_out_the_run_goes_into_runs(workshop: Path) -> None:
    """The folder is named by start and job."""
    assert gapwright("rehearse", write_job(workshop, holes="[[10.0, 10.0]]")).exit_code == 0
    assert [path.name.split("-")[-1] for path in (workshop / "runs").iterdir()] == ["small"]


def test_a_folder_with_something_in_it_is_refused(workshop: Path) -> None:
    """Exit code 2, the folder named, nothing touched."""
    (workshop / "run").mkdir()
    (workshop / "run" / "mine.txt").write_text("keep", encoding="utf-8")
    done = gapwright("rehearse", write_job(workshop), "--out", "run")
    assert done.exit_code == 2
    assert "run: holds files already; name a folder that is absent or empty" in done.stderr
    assert [path.name for path in (workshop / "run").iterdir()] == ["mine.txt"]


@pytest.mark.parametrize(
    ("spec", "message"),
    [
        ("meteor@t:1200s", "a rehearsal has no fault named meteor"),
        ("meteor@hole:12+3s", "a rehearsal has no fault named meteor"),
        ("meteor@", "not of the form NAME, NAME@t:1200s or NAME@hole:12+3s"),
        ("idle-lock", "a rehearsal has no fault named idle-lock"),
    ],
)
def test_faults_that_can_not_be_injected_are_refused(workshop: Path, spec: str, message: str) -> None:
    """No rehearsal pretends to have met a fault that it never saw; no folder is made."""
    done = gapwright("rehearse", write_job(workshop), "--fault", spec, "--out", "run")
    assert done.exit_code == 2
    assert message in done.stderr
    assert not (workshop / "run").exists()


def test_an_unknown_job_is_refused_with_the_nearest_name(workshop: Path) -> None:
    """A slip of the keyboard in a shipped job's name."""
    done = gapwright("rehearse", "difuser", "--out", "run")
    assert done.exit_code == 2
    assert "did you mean diffuser.toml?" in done.stderr


def test_a_job_whose_rod_can_not_make_the_size_is_refused_with_the_rod_it_needs(workshop: Path) -> None:
    """A 0.8 mm rod never makes 1.5 mm holes; the message names the rod that would."""
    for command in (["plan"], ["rehearse", "--out", "run"]):
        done = gapwright(command[0], write_job(workshop, rod_mm="0.8"), *command[1:])
        assert done.exit_code == 2
        assert "it would take a rod of 1.220 mm" in done.stderr
    assert not (workshop / "run").exists()


def test_everything_wrong_with_a_job_is_told_at_once(workshop: Path) -> None:
    """A rod too thin and a hole beyond the travel are two complaints of one run."""
    done = gapwright("plan", write_job(workshop, rod_mm="0.8", holes="[[10.0, 1000.0]]"))
    assert done.exit_code == 2
    assert "it would take a rod" in done.stderr
    assert "travel" in done.stderr


def test_without_an_operator_the_run_is_held_at_the_first_prompt(workshop: Path) -> None:
    """A machine whose rod must be advanced before the first hole asks at once; exit code 3, reason told."""
    machine = (Path(__file__).parent.parent / "configs" / "machines" / "virtual.toml").read_text(encoding="utf-8")
    short = machine.replace("min_protrusion_mm = 22.0", "min_protrusion_mm = 44.9")
    assert short != machine
    (workshop / "short.toml").write_text(short, encoding="utf-8")
    done = gapwright("rehearse", write_job(workshop), "--machine", "short.toml", "--no-operator", "--out", "run")
    assert done.exit_code == 3, done.output
    summary = json.loads((workshop / "run" / "summary.json").read_text(encoding="utf-8"))
    assert (summary["outcome"], summary["operator_prompts"]) == ("held", 1)
    assert "the operator is needed" in summary["reason"]
    prompts = [event for event in read_journal(workshop / "run").events if isinstance(event, PromptRaised)]
    assert len(prompts) == 1


def test_an_interrupted_rehearsal_ends_with_130_and_a_whole_folder(workshop: Path) -> None:
    """Ctrl-C after the first hole of a long job: exit code 130, outcome `aborted`, every file there."""
    command = [sys.executable, "-m", "controller.cli", "rehearse", "diffuser", "--out", "run"]
    here = {**os.environ, "PYTHONPATH": str(Path(__file__).parent.parent)}
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, env=here, text=True) as running:
        assert running.stderr is not None
        while not running.stderr.readline().startswith("Overcut believed"):
            assert running.poll() is None
        running.send_signal(signal.SIGINT)
        running.stderr.read()
    assert running.returncode == 130
    summary = json.loads((workshop / "run" / "summary.json").read_text(encoding="utf-8"))
    assert (summary["outcome"], summary["reason"]) == ("aborted", "interrupted by the user")
    assert {"holes.csv", "truth.csv", "report.html", "journal.sqlite"} <= {
        path.name for path in (workshop / "run").iterdir()
    }


def test_gauging_teaches_later_jobs_of_the_same_workshop(first_article: Path, workshop: Path) -> None:
    """What is entered with `gauge` is what `plan` believes next, and says so."""
    run = copied(first_article, workshop / "run")
    for hole in ("1", "2"):
        done = gapwright("gauge", run, hole, "--diameter", "1.48", "--uncertainty", "0.002")
        assert done.exit_code == 0, done.output
    assert "overcut 0.14" in done.stdout
    told = json.loads(gapwright("plan", write_job(workshop), "--no-picture", "--json").stdout)
    assert told["overcut"]["n"] == 2
    assert told["overcut"]["mean_mm"] == pytest.approx(0.14, abs=0.002)
    assert "rehearsed 2 gauged holes in learned/virtual/tungsten-on-stainless.toml" in told["overcut"]["source"]


def test_gauging_names_the_rod_that_the_size_would_need(first_article: Path, workshop: Path) -> None:
    """Holes that came out at 1.40 mm say that a 1.2 mm rod makes no 1.5 mm holes; a 1.3 mm rod would."""
    run = copied(first_article, workshop / "run")
    for hole in ("1", "2"):
        done = gapwright("gauge", run, hole, "--diameter", "1.40", "--uncertainty", "0.002")
    assert "not 1.5 ± 0.05 mm: it would take a rod of 1.29" in done.stdout
    assert "1.3 mm would make 1.50" in done.stdout


def test_a_first_article_believes_nothing_learned(first_article: Path, workshop: Path) -> None:
    """Its job is to find out, so it starts from the guess: rehearsed again, it stays the same to the byte."""
    run = copied(first_article, workshop / "run")
    assert gapwright("gauge", run, "1", "--diameter", "1.40").exit_code == 0
    job = write_job(workshop, "piece", first_article="true")
    assert gapwright("rehearse", job, "--seed", "3", "--out", "again").exit_code == 0
    assert (workshop / "again" / "holes.csv").read_bytes() == (first_article / "holes.csv").read_bytes()


def test_a_rehearsal_takes_the_first_article_it_is_told(first_article: Path, workshop: Path) -> None:
    """`--first-article RUN` believes the holes gauged there, and the start record says so."""
    job = write_job(workshop, holes="[[10.0, 10.0]]")
    assert gapwright("rehearse", job, "--first-article", first_article, "--out", "run").exit_code == 0
    start = read_journal(workshop / "run").start
    assert start.overcut_n == 2
    assert start.overcut_from == f"2 gauged holes of {first_article}"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("9", "--diameter", "1.5"), "has no hole 9; its holes are numbered 1 to 2"),
        (("1", "--diameter", "15"), "--diameter 15: must lie between the rod (1.2 mm) and 2.25 mm"),
        (("1", "--diameter", "1.1"), "--diameter 1.1: must lie between the rod"),
        (("1", "--diameter", "1.5", "--uncertainty", "0"), "--uncertainty 0: must be more than 0"),
    ],
)
def test_nonsense_is_not_gauged(first_article: Path, workshop: Path, arguments: tuple[str, ...], message: str) -> None:
    """Exit code 2, the reason told, and neither journal nor workshop is changed."""
    run = copied(first_article, workshop / "run")
    before = len(read_journal(run).gauged)
    done = gapwright("gauge", run, *arguments)
    assert done.exit_code == 2
    assert message in done.stderr
    assert len(read_journal(run).gauged) == before
    assert not (workshop / "learned").exists()


def test_report_is_made_again_from_the_journal_alone(first_article: Path, workshop: Path) -> None:
    """With everything but the journal lost, `report` brings back the same bytes."""
    run = workshop / "run"
    run.mkdir()
    (run / "journal.sqlite").write_bytes((first_article / "journal.sqlite").read_bytes())
    assert gapwright("report", run).exit_code == 0
    for name in ("holes.csv", "truth.csv", "summary.json", "report.html"):
        assert (run / name).read_bytes() == (first_article / name).read_bytes()


def test_report_of_a_folder_that_is_no_run_is_refused(workshop: Path) -> None:
    """Exit code 2 and what to name instead."""
    done = gapwright("report", workshop)
    assert done.exit_code == 2
    assert "no journal here; name the folder of a run" in done.stderr


def test_plan_prints_ranges_and_draws_the_picture(workshop: Path) -> None:
    """Budget rows from least to most, and a picture beside."""
    done = gapwright("plan", write_job(workshop))
    assert done.exit_code == 0, done.output
    assert "machine time" in done.stdout
    assert (workshop / "small-plan.svg").read_text(encoding="utf-8").startswith("<?xml")
    budget = json.loads(gapwright("plan", write_job(workshop), "--no-picture", "--json").stdout)["budget"]
    for name in ("machine_seconds", "electrode_mm", "measurements", "advances"):
        assert budget[name]["low"] <= budget[name]["expected"] <= budget[name]["high"]


def test_plan_draws_only_what_it_can(workshop: Path) -> None:
    """An unknown ending is refused before anything is done."""
    done = gapwright("plan", write_job(workshop), "--picture", "plan.bmp")
    assert done.exit_code == 2
    assert "must end in .svg, .png, .pdf" in done.stderr


def test_plan_rehearses_when_asked(workshop: Path) -> None:
    """Two rehearsals with seeds 1 and 2 give two different times, each like a rehearsal of its own."""
    job = write_job(workshop, holes="[[10.0, 10.0]]")
    told = json.loads(gapwright("plan", job, "--rehearsals", "2", "--no-picture", "--json").stdout)["rehearsals"]
    assert [trial["seed"] for trial in told] == [1, 2]
    assert told[0]["machine_s"] != told[1]["machine_s"]
    assert gapwright("rehearse", job, "--seed", "2", "--out", "run").exit_code == 0
    summary = json.loads((workshop / "run" / "summary.json").read_text(encoding="utf-8"))
    assert told[1]["machine_s"] == pytest.approx(summary["machine_seconds"], abs=1e-3)
