"""`resume` and `answer` as commands: what they refuse, and a rehearsal that was ended early and goes on."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from controller.core.events import HoleFinished
from controller.host.capture import Capture, CaptureError, head_bytes
from controller.record.journal import JOURNAL_NAME, Journal, JournalError, read_aside, read_journal
from sim.aside import AsideError, taken_up
from tests.campaign.drill import SMALL_JOB
from tests.record.made_up import START, MadeUpRun, places
from tests.test_cli import gapwright, write_job

CORRUPTED = 80


def held(folder: Path) -> tuple[Path, Path]:
    """A rehearsal that holds at its first prompt, and its job."""
    job = write_job(folder, "held", "[[10.0, 10.0]]")
    run = folder / "run"
    ended = gapwright("rehearse", job, "--out", run, "--no-operator", "--fault", "welded@hole:1+1s")
    assert ended.exit_code == 3, ended.output
    return run, job


def test_a_held_rehearsal_goes_on_once_somebody_has_freed_the_electrode(tmp_path: Path) -> None:
    run, _ = held(tmp_path)
    waits = gapwright("answer", run)
    assert waits.exit_code == 2
    assert f"gapwright resume {run}" in waits.output.replace("\n", " ")
    before = read_journal(run)
    gone_on = gapwright("resume", run, "--json")
    assert gone_on.exit_code in {0, 3}, gone_on.output
    after = read_journal(run)
    assert after.events[: len(before.events)] == before.events
    assert sum(event.kind == "RunResumed" for event in after.events) == 1


def test_a_complete_run_has_nothing_to_go_on_with(tmp_path: Path) -> None:
    job = write_job(tmp_path, "whole", "[[10.0, 10.0]]")
    run = tmp_path / "run"
    assert gapwright("rehearse", job, "--out", run).exit_code == 0
    refused = gapwright("resume", run)
    assert (refused.exit_code, "nothing to go on with" in refused.output) == (2, True)


def test_a_job_that_was_changed_meanwhile_is_refused_key_by_key_and_nothing_is_changed(tmp_path: Path) -> None:
    run, job = held(tmp_path)
    job.write_text(
        job.read_text(encoding="utf-8").replace("thickness_mm = 0.3", "thickness_mm = 0.4"), encoding="utf-8"
    )
    before = (run / JOURNAL_NAME).read_bytes()
    refused = gapwright("resume", run)
    assert refused.exit_code == 2
    told = " ".join(refused.output.split())
    assert "work.thickness_mm: was 0.3 when the run began, is 0.4 now" in told
    assert "put that back, or start a new run" in told
    assert (run / JOURNAL_NAME).read_bytes() == before


def test_a_belief_of_another_version_is_refused_and_nothing_is_changed(tmp_path: Path) -> None:
    run, _ = held(tmp_path)
    with sqlite3.connect(run / JOURNAL_NAME) as journal:
        # One number fewer than this version writes, as an earlier one did.
        changed = journal.execute(
            "UPDATE event SET fields = json_remove(fields, '$.belief[#-1]') WHERE kind = 'Checkpoint'"
        ).rowcount
    assert changed > 0
    journal.close()
    before = (run / JOURNAL_NAME).read_bytes()
    refused = gapwright("resume", run)
    assert refused.exit_code == 2
    told = " ".join(refused.output.split())
    assert "was written by another version" in told
    assert "go on with that one, or start a new run" in told
    assert (run / JOURNAL_NAME).read_bytes() == before


def test_a_folder_without_a_run_is_refused(tmp_path: Path) -> None:
    refused = gapwright("resume", tmp_path)
    assert (refused.exit_code, "no journal here" in refused.output) == (2, True)


def test_a_run_that_another_process_writes_is_refused(tmp_path: Path) -> None:
    run, _ = held(tmp_path)
    journal = Journal.reopen(run)
    refused = gapwright("resume", run)
    journal.close(None)
    assert (refused.exit_code, "another process writes this journal" in " ".join(refused.output.split())) == (2, True)


def test_a_machine_put_aside_by_anybody_else_can_do_no_harm() -> None:
    """Bytes that name anything but the plant's own classes are refused."""
    for evil in (
        b"cos\nsystem\n(S'true'\ntR.",
        b"cbuiltins\neval\n(S'1'\ntR.",
        b"csim.machine\nceil\n(F1.5\ntR.",
        b"rubbish",
        b"",
    ):
        with pytest.raises(AsideError):
            taken_up(evil)


def damaged(run: Path) -> bool:
    """Whether the journal can't be read; whatever else it may be, that is how it is told."""
    try:
        read_journal(run)
    except JournalError:
        return True
    return False


@pytest.mark.parametrize("seed", range(CORRUPTED))
def test_a_corrupted_journal_ends_in_a_clear_message_and_stays_as_it_was(seed: int, tmp_path: Path) -> None:
    """Cut off, overwritten, filled with zeros, at random places: an error of ours or a whole record, never another."""
    run = tmp_path / "run"
    run.mkdir()
    MadeUpRun(4).write(run)
    path, chance = run / JOURNAL_NAME, Random(seed)
    content = bytearray(path.read_bytes())
    start = chance.randrange(len(content))
    match seed % 4:
        case 0:
            del content[start:]
        case 1:
            content[start : start + 200] = bytes(chance.randrange(256) for _ in range(200))
        case 2:
            content[start : start + 4096] = bytes(4096)
        case _:
            for _ in range(20):
                content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    path.write_bytes(content)
    told = gapwright("report", run) if damaged(run) else None
    if told is not None:
        assert (told.exit_code, JOURNAL_NAME in told.output) == (2, True)
    assert path.read_bytes() == bytes(content)
    assert [each.name for each in run.iterdir() if each.name.startswith("journal")] == [JOURNAL_NAME]


@pytest.mark.parametrize("seed", range(12))
def test_a_corrupted_capture_ends_in_a_clear_message(seed: int, tmp_path: Path) -> None:
    chance, path = Random(seed), tmp_path / "capture.bin"
    content = bytearray(head_bytes(START))
    if seed % 2:
        del content[chance.randrange(len(content) - 1) :]
    else:
        content[chance.randrange(20)] ^= 0xFF
    path.write_bytes(content)
    with pytest.raises(CaptureError, match=r"capture\.bin"):
        Capture(path)
    told = gapwright("replay", path)
    assert (told.exit_code, path.read_bytes()) == (2, bytes(content))


def test_a_folder_that_was_copied_goes_on_where_the_copy_was_made(tmp_path: Path) -> None:
    """A run is its folder."""
    run, copy = tmp_path / "run", tmp_path / "copy"
    run.mkdir()
    journal = Journal(run, START, places(1))
    journal.commit(b"aside")
    journal.close(None)
    shutil.copytree(run, copy)
    assert read_aside(copy) == b"aside"
    assert read_journal(copy).start == START


def test_a_disk_that_fills_up_in_mid_run_loses_nothing_that_was_told(tmp_path: Path) -> None:
    """The rehearsal ends with the fault's exit code and says why; with room again `resume` makes every hole once."""
    job, run = tmp_path / "small.toml", tmp_path / "run"
    job.write_text(SMALL_JOB.read_text("utf-8"), encoding="utf-8")
    command = [sys.executable, "-m", "controller.cli"]
    # A process of its own: what it may write is limited for all of it.
    asked = ["rehearse", str(job), "--seed", "3", "--fault", "disk-full@hole:2+1s", "--speed", "25", "--out", str(run)]
    ended = subprocess.run([*command, *asked], capture_output=True, text=True, check=False)
    assert ended.returncode == 4, ended.stderr
    assert "The record can't be written" in ended.stderr
    done = subprocess.run([*command, "resume", str(run)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    finished = Counter(event.hole for event in read_journal(run).events if isinstance(event, HoleFinished))
    assert finished == {1: 1, 2: 1, 3: 1}
