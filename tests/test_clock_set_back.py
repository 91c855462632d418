"""The time of day may jump, back too: a computer without a clock of its own learns the time once the network is up."""

from __future__ import annotations

import ast
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Self

import pytest

import controller
from controller import commands_resume, rehearsing
from controller.record.journal import read_journal
from tests.test_cli import gapwright
from tests.test_resume import held

# Packages of what runs tick by tick, and what would tell them the time of day.
OF_THE_LOOP = ("core", "host", "link")
TIME_OF_DAY = {"datetime", "time", "time_ns", "localtime", "gmtime", "today", "now"}


class AnHourAgo(datetime):
    """The clock was set back by an hour."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> Self:
        """The time an hour ago."""
        return cls.fromtimestamp((datetime.now(tz) - timedelta(hours=1)).timestamp(), tz)


def told_of_the_day(source: str) -> set[str]:
    """What a source takes from the modules `time` and `datetime` that tells the time of day."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module in {"time", "datetime"}:
            found |= {alias.name for alias in node.names} & TIME_OF_DAY
        if (
            isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id in {"time", "datetime"}
        ):
            found |= {node.attr} & TIME_OF_DAY
    return found


def test_the_check_itself_sees_a_time_of_day() -> None:
    assert told_of_the_day("import time\ntime.time()") == {"time"}
    assert told_of_the_day("from datetime import datetime\ndatetime.now()") == {"datetime", "now"}
    assert not told_of_the_day("import time\nfrom time import monotonic\ntime.monotonic()")


def test_nothing_that_runs_tick_by_tick_reads_the_time_of_day() -> None:
    package = Path(controller.__file__).parent
    sources = [path for name in OF_THE_LOOP for path in (package / name).rglob("*.py")]
    assert len(sources) > 50
    assert {str(path): told for path in sources if (told := told_of_the_day(path.read_text(encoding="utf-8")))} == {}


def test_a_run_whose_clock_was_set_back_ends_goes_on_and_is_reported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rehearsing, "datetime", AnHourAgo)  # it ends before it began
    run, _ = held(tmp_path)
    record = read_journal(run)
    assert record.stop is not None
    assert record.stop.stopped_utc < record.start.started_utc
    assert record.stop.wall_s > 0.0
    monkeypatch.setattr(commands_resume, "datetime", AnHourAgo)
    assert gapwright("resume", run).exit_code == 0
    after = read_journal(run)
    assert after.events[: len(record.events)] == record.events
    assert gapwright("report", run).exit_code == 0
    assert datetime.now(UTC) > AnHourAgo.now(UTC)
