"""`check`, `jog`, `touch` and `measure` from outside: what they refuse before anything is opened."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from controller.cli import app
from controller.host.replay import session_of
from controller.record.calibration import write_calibration
from controller.settings.calibration import Calibration
from controller.workshop import assignment, start_record

RUN = CliRunner()


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refused(*arguments: str) -> str:
    result = RUN.invoke(app, list(arguments))
    assert result.exit_code == 2, result.output
    return result.output


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--out", "record.pdf"), "must end in .md or .html"),
        (("--out", "nowhere/record.md"), "there is no folder nowhere"),
        (("--without", "fingerprnt"), "no check is named so; there are stream, contact"),
        ((), "start again with --yes"),
        (("--yes",), "motion.port"),
    ],
)
def test_check_refuses_what_it_can_t_do(workshop: Path, arguments: tuple[str, ...], message: str) -> None:
    assert message in refused("check", "--machine", "status.toml", *arguments)
    assert list(workshop.iterdir()) == []


def test_check_writes_over_nothing(workshop: Path) -> None:
    (workshop / "record.md").write_text("mine", encoding="utf-8")
    assert "is there already" in refused("check", "--machine", "status.toml", "--out", "record.md", "--yes")
    assert (workshop / "record.md").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("command", ["check", "jog", "measure"])
def test_the_machine_has_no_default(workshop: Path, command: str) -> None:
    assert "--machine" in refused(command)


@pytest.mark.parametrize(
    ("command", "place", "message"),
    [
        ("jog", ("--x", "221"), "--x 221: outside the travel of status-machine, which is 0 to 220 mm"),
        ("jog", ("--z", "1"), "--z 1: outside the travel"),
        ("touch", ("--x", "10", "--y", "-1"), "--y -1: outside the travel"),
    ],
)
def test_soft_limits_hold_before_anything_is_opened(
    workshop: Path, command: str, place: tuple[str, ...], message: str
) -> None:
    assert message in refused(command, "--machine", "status.toml", *place, "--yes")


@pytest.mark.parametrize("command", ["jog", "measure"])
def test_nothing_moves_before_the_cautions_are_acknowledged(workshop: Path, command: str) -> None:
    assert "start again with --yes" in refused(command, "--machine", "status.toml")


def test_what_was_measured_is_believed_by_real_runs_and_goes_into_their_record(workshop: Path) -> None:
    calibration = Calibration(machine="status-machine", when_utc="2020-01-01T10:00:00Z", backlash_z_um=21.0)
    write_calibration(workshop, calibration, None)
    given = assignment("coupon.toml", "status.toml", rehearsed=False)
    assert given.machine.axes.backlash_um[2] == 21.0
    assert "backlash of z 21 µm" in given.calibration_words()
    repeated = session_of(start_record(given, "2020-01-02T10:00:00Z"))
    assert repeated.link.board._machine == given.machine
    rehearsed = assignment("coupon.toml", "status.toml", rehearsed=True)
    assert (rehearsed.machine.axes.backlash_um[2], rehearsed.calibration_words()) == (40.0, "")


def test_a_plan_says_what_was_measured(workshop: Path) -> None:
    calibration = Calibration(machine="status-machine", when_utc="2020-01-01T10:00:00Z", backlash_z_um=21.0)
    write_calibration(workshop, calibration, None)
    told = RUN.invoke(app, ["plan", "coupon.toml", "--machine", "status.toml"])
    assert "Measured of the machine: backlash of z 21 µm" in told.output
