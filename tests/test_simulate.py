"""`gapwright simulate` from outside: what it writes, what it refuses, how it ends."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from controller.cli import app
from controller.commands_simulate import WRITTEN_HERE, with_ports
from controller.screen import BadUsage
from controller.settings.load import load_machine, resolve

RUN = CliRunner()


def refused(*arguments: str) -> str:
    result = RUN.invoke(app, ["simulate", *arguments])
    assert result.exit_code == 2, result.output
    return result.output


def test_a_machine_file_keeps_everything_but_its_ports(tmp_path: Path) -> None:
    shipped = resolve("status.toml", kind="machines")
    written = tmp_path / "machine.toml"
    written.write_text(with_ports(shipped.read_text(encoding="utf-8"), "socket://h:1", "/dev/pts/9"), encoding="utf-8")
    before, after = load_machine(shipped), load_machine(written)
    assert (after.motion.port, after.sampler.port) == ("socket://h:1", "/dev/pts/9")
    ports = {"motion": after.motion, "sampler": after.sampler}
    assert before.model_copy(update=ports) == after
    assert after.motion.model_copy(update={"port": before.motion.port}) == before.motion
    assert after.sampler.model_copy(update={"port": before.sampler.port}) == before.sampler


def test_missing_sections_are_added() -> None:
    changed = with_ports('name = "bare"\n', "a", "b")
    assert '[motion]\nport = "a"' in changed
    assert '[sampler]\nport = "b"' in changed


def test_a_form_that_cannot_be_changed_is_refused() -> None:
    with pytest.raises(BadUsage, match="plain tables"):
        with_ports('name = "m"\nmotion = { convention = "ack" }\n', "a", "b")


def test_a_file_of_the_user_is_never_written_over(tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text("mine", encoding="utf-8")
    assert "was not written by simulate" in refused("--machine", "status.toml", "--write-machine", str(mine))
    truth = tmp_path / "truth.csv"
    truth.write_text("mine", encoding="utf-8")
    words = refused("--machine", "status.toml", "--write-machine", str(tmp_path / "new.toml"), "--truth", str(truth))
    assert "exists" in words
    assert (mine.read_text(encoding="utf-8"), truth.read_text(encoding="utf-8")) == ("mine", "mine")


def test_bad_faults_and_missing_folders_are_refused(tmp_path: Path) -> None:
    new = str(tmp_path / "new.toml")
    assert "simulate has no fault named zzz" in refused(
        "--machine", "status.toml", "--write-machine", new, "--fault", "zzz@t:1s"
    )
    nowhere = str(tmp_path / "nowhere" / "new.toml")
    assert "make it first" in refused("--machine", "status.toml", "--write-machine", nowhere)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_runs_until_interrupted_and_then_writes_the_truth(tmp_path: Path, number: signal.Signals) -> None:
    machine, truth = tmp_path / "machine.toml", tmp_path / "truth.csv"
    command = [sys.executable, "-m", "controller.cli", "simulate", "--machine", "ack.toml", "--ports", "tcp"]
    with subprocess.Popen(
        [*command, "--write-machine", str(machine), "--truth", str(truth)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as simulating:
        assert simulating.stdin is not None
        assert simulating.stdout is not None
        assert simulating.stderr is not None
        told = [simulating.stdout.readline() for _ in range(3)]
        assert machine.read_text(encoding="utf-8").startswith(WRITTEN_HERE)
        assert load_machine(machine).motion.port in told[0]
        assert load_machine(machine).sampler.port in told[1]
        simulating.stdin.write("open guard\n")
        simulating.stdin.flush()
        assert simulating.stderr.readline() == "done: open guard\n"
        simulating.send_signal(number)
        assert simulating.wait(timeout=60) == 0
    assert truth.read_text(encoding="utf-8") == ("index,entry_diameter_mm,exit_diameter_mm,full_diameter_mm,through\n")
