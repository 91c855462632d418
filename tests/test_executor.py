"""Rehearsals on the cores or on a cluster: the same results, and clear words when there is no cluster."""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from controller import executor as home
from tests.test_cli import gapwright, write_job

if "CI" not in os.environ:  # there it has to be installed, as the development extras say
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed")


@pytest.fixture(autouse=True)
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every test works in a folder of its own."""
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def cluster() -> Iterator[str]:
    """The address of a real scheduler with two workers, in threads of this process: it starts at once."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, protocol="tcp", host="127.0.0.1", dashboard_address=None
    ) as running:
        yield running.scheduler_address


def planned(job: Path, *options: str) -> dict[str, Any]:
    """What `plan` tells as JSON."""
    done = gapwright("plan", job, "--rehearsals", "2", "--no-picture", "--json", *options)
    assert done.exit_code == 0, done.output
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def test_a_cluster_gives_what_the_cores_give(tmp_path: Path, cluster: str) -> None:
    """Same seeds, same rehearsals, in the same order, whoever made them."""
    job = write_job(tmp_path, holes="[[10.0, 10.0]]")
    assert planned(job, "--cluster", cluster) == planned(job)


def test_an_address_where_nobody_answers_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit code 2, the address and the remedy, and no picture left behind."""
    monkeypatch.setattr(home, "ANSWER_S", 0.2)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    done = gapwright("plan", write_job(tmp_path), "--rehearsals", "2", "--cluster", address)
    assert done.exit_code == 2
    assert f"--cluster {address}: no scheduler answers there" in done.stderr
    assert "leave --cluster out" in done.stderr
    assert not list(tmp_path.glob("*.svg"))


def test_an_address_that_is_none_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A typing mistake is told as one."""
    monkeypatch.setattr(home, "ANSWER_S", 0.2)
    done = gapwright("plan", write_job(tmp_path), "--rehearsals", "2", "--cluster", "nowhere://at-all")
    assert (done.exit_code, "nowhere://at-all" in done.stderr) == (2, True)


def test_without_the_library_the_extra_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit code 2 and what to install."""

    def missing(name: str) -> None:
        raise ModuleNotFoundError(f"No module named {name!r}")

    monkeypatch.setattr(home, "import_module", missing)
    done = gapwright("plan", write_job(tmp_path), "--rehearsals", "2", "--cluster", "tcp://127.0.0.1:1")
    assert done.exit_code == 2
    assert "pip install 'gapwright[cluster]'" in done.stderr


def test_a_cluster_without_rehearsals_is_refused(tmp_path: Path) -> None:
    """There would be nothing for it to do."""
    done = gapwright("plan", write_job(tmp_path), "--cluster", "tcp://127.0.0.1:1")
    assert (done.exit_code, "--rehearsals N" in done.stderr) == (2, True)


def test_workers_with_another_version_are_refused(
    tmp_path: Path, cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They might rehearse differently."""
    theirs = home.versions() | {"numpy": "0.1"}
    monkeypatch.setattr(home, "_asked", lambda client, _: client.run(lambda: theirs))
    done = gapwright("plan", write_job(tmp_path), "--rehearsals", "2", "--cluster", cluster)
    assert done.exit_code == 2
    assert "has numpy 0.1" in done.stderr
    assert "install the same there" in done.stderr
