"""`gapwright run` from outside, on the virtual machine's ports in real time: few, and patient with a slow computer."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from controller.cli import app

PATIENCE_S = 120.0
COMMAND = [sys.executable, "-m", "controller.cli"]


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Path]:
    """The machine file of a virtual machine that lives while the test runs; what it drilled is written at its end."""
    written = tmp_path / "machine.toml"
    command = [*COMMAND, "simulate", "--machine", "status.toml", "--ports", "tcp", "--write-machine", str(written)]
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True) as simulating:
        assert simulating.stdout is not None
        for line in simulating.stdout:
            if "Machine file" in line:
                break
        yield written
        simulating.send_signal(signal.SIGINT)
        assert simulating.wait(PATIENCE_S) == 0


def test_a_signal_ends_a_run_in_order_with_its_record_complete(machine: Path, tmp_path: Path) -> None:
    folder = tmp_path / "run"
    command = [*COMMAND, "run", "coupon.toml", "--machine", str(machine), "--out", str(folder)]
    with subprocess.Popen([*command, "--headless", "--yes", "--capture"], stderr=subprocess.PIPE, text=True) as running:
        assert running.stderr is not None
        told = []
        for line in running.stderr:
            told.append(line)
            if "Referencing" in line:
                running.send_signal(signal.SIGTERM)
        assert running.wait(PATIENCE_S) == 130, "".join(told)
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert (summary["outcome"], summary["reason"]) == ("aborted", "interrupted by the user")
    assert {"journal.sqlite", "holes.csv", "summary.json", "report.html", "capture.bin"} <= {
        each.name for each in folder.iterdir()
    }
    repeated = CliRunner().invoke(app, ["replay", str(folder), "--json"])
    assert json.loads(repeated.stdout)["same"], repeated.stdout
    assert "Ending here" in "".join(told)


def test_a_port_that_is_not_there_is_bad_input_and_leaves_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "run"
    refused = CliRunner().invoke(
        app, ["run", "coupon.toml", "--machine", "virtual.toml", "--out", str(folder), "--yes", "--headless"]
    )
    assert refused.exit_code == 2
    assert "motion.port" in refused.output
    assert not folder.exists()


def test_nobody_there_to_acknowledge_the_cautions_is_bad_input(tmp_path: Path) -> None:
    refused = CliRunner().invoke(app, ["run", "coupon.toml", "--machine", "virtual.toml", "--out", str(tmp_path / "r")])
    assert refused.exit_code == 2
    assert "--yes" in refused.output
