"""What is due on a machine, by the runs since it was seen to. Every figure is invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from controller.cli import app
from controller.record.upkeep import Done, RunUse, State, states
from controller.settings.find import packaged_configs
from tests.record import made_up
from tests.record.made_up import MadeUpRun


def run(day: int, removed: float = 100.0, shorts: float = 1.0, touches: int = 20, hot: int = 0) -> RunUse:
    return RunUse(f"2026-01-{day:02}T08:00:00Z", 60, removed, 1.0, shorts, touches, 0.002, 200, hot, (300.0, 500.0))


def state(part: str, uses: list[RunUse], done: list[Done] | None = None) -> State:
    return next(each for each in states(uses, done or []) if each.part == part)


def test_metal_fills_the_filter_before_the_water() -> None:
    uses = [run(1), run(2), run(3)]
    assert state("filter", uses).due
    assert not state("water", uses).due
    assert "300 to 500 µS/cm" in state("water", uses).words


def test_what_was_seen_to_counts_anew_and_only_that() -> None:
    uses = [run(1), run(2), run(3)]
    done = [Done(what="filter", when_utc="2026-01-02T20:00:00Z")]
    assert state("filter", uses, done).share == pytest.approx(1.0 / 3.0)
    assert state("water", uses, done).share == pytest.approx(0.5)


def test_more_shorts_than_after_the_change_speak_of_dirty_water_before_the_count_does() -> None:
    assert state("water", [run(1), run(2, shorts=2.5)]).due
    assert not state("water", [run(2, shorts=1.2), run(1)]).due


def test_a_plate_is_wiped_for_its_touches_or_its_spread_and_a_contact_looked_at_for_hot_openings() -> None:
    assert state("plate", [run(1, touches=160)]).due
    assert not state("contact", [run(1)]).due
    assert state("contact", [run(1, hot=50)]).due


def test_the_command_counts_the_machines_own_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = (packaged_configs() / "jobs" / "diffuser.toml").read_text(encoding="utf-8")
    start = made_up.START.model_copy(update={"job_toml": job, "machine": "virtual"})
    monkeypatch.setattr(made_up, "START", start)
    folder = tmp_path / "runs" / "one"
    folder.mkdir(parents=True)
    MadeUpRun(200).write(folder)
    monkeypatch.chdir(tmp_path)

    def upkeep(*arguments: str) -> dict[str, object]:
        done = CliRunner().invoke(app, ["upkeep", "--machine", "virtual", "--json", *arguments])
        assert done.exit_code == 0, done.output
        told: dict[str, object] = json.loads(done.stdout)
        return told

    assert upkeep()["runs"] == 0  # a rehearsal fills no filter
    told = upkeep("--rehearsed")
    assert told["removed_mm3"] == pytest.approx(200 * 1.756, rel=0.01)  # holes of 1.2 + 2·0.148 mm in 1 mm
    shown = CliRunner().invoke(app, ["upkeep", "--machine", "virtual", "--rehearsed"])
    assert "clean the filter" in shown.output
    assert "--done filter" in shown.output
    assert not [part for part in upkeep("--rehearsed", "--done", "filter")["parts"] if part["due"]]  # type: ignore[attr-defined]
    refused = CliRunner().invoke(app, ["upkeep", "--machine", "virtual", "--done", "roof"])
    assert refused.exit_code == 2
