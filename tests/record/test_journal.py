"""The journal keeps what it was given, in order, whatever becomes of the run."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import fields
from pathlib import Path
from threading import Timer

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core import events
from controller.core.events import Event, HoleFinished, Said
from controller.record.journal import (
    JOURNAL_NAME,
    GaugedHole,
    Journal,
    JournalError,
    append_gauged,
    read_aside,
    read_journal,
)
from controller.record.lock import FolderLock, wait_until_free
from tests.campaign.power_cuts import WAL_NAME, cut_short, lost, written
from tests.record.made_up import START, STOP, MadeUpRun, places

SHAPES = sorted(
    (
        shape
        for shape in vars(events).values()
        if isinstance(shape, type) and issubclass(shape, Event) and shape not in {Event, events.Checked}
    ),
    key=lambda shape: shape.__name__,
)
FIGURES = st.floats(allow_nan=False, allow_infinity=False)
OF_TYPE = {
    "float": FIGURES,
    "int": st.integers(-(2**53), 2**53),
    "str": st.text(),
    "bool": st.booleans(),
    "tuple[str, ...]": st.lists(st.text()).map(tuple),
    "tuple[Figure, ...]": st.lists(
        st.builds(events.Figure, st.text(), FIGURES, st.text(), st.integers(0, 6)), max_size=3
    ).map(tuple),
    "tuple[float, ...]": st.lists(FIGURES).map(tuple),
}


def any_event() -> st.SearchStrategy[Event]:
    """Any event of any kind, every field drawn."""
    return st.sampled_from(SHAPES).flatmap(
        lambda shape: st.builds(shape, **{field.name: OF_TYPE[str(field.type)] for field in fields(shape)})
    )


@given(happened=st.lists(any_event(), max_size=8))
def test_every_event_comes_back_equal_and_in_order(
    happened: list[Event], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """What goes into the journal comes out of it, field by field, for every kind of event there is."""
    run = tmp_path_factory.mktemp("run")
    journal = Journal(run, START, places(2))
    for event in happened:
        journal.append(event)
    journal.close(None)
    assert list(read_journal(run).events) == happened


def test_a_whole_run_comes_back_as_it_was(tmp_path: Path) -> None:
    """Start record, plan, truths and stop record are read back equal."""
    made_up = MadeUpRun(30)
    made_up.write(tmp_path)
    record = read_journal(tmp_path)
    assert record.start == START
    assert list(record.planned) == made_up.planned
    assert list(record.events) == made_up.events
    assert list(record.true_tips) == made_up.tips
    assert list(record.true_holes) == made_up.truths
    assert record.stop is not None
    assert record.stop.machine_s == made_up.time_s


def test_a_run_that_was_killed_keeps_every_finished_hole(tmp_path: Path) -> None:
    """Read while its writer still holds it, a journal has everything up to the last finished hole."""
    made_up = MadeUpRun(5)
    journal = Journal(tmp_path, START, made_up.planned)
    last = max(rank for rank, event in enumerate(made_up.events) if isinstance(event, HoleFinished))
    for event in made_up.events[: last + 1]:
        journal.append(event)
    journal.commit()
    journal.append(Said(1e6, "not yet on the disk"))
    record = read_journal(tmp_path)
    journal.close(None)
    assert list(record.events) == made_up.events[: last + 1]
    assert record.stop is None


def test_a_finished_run_leaves_one_plain_file(tmp_path: Path) -> None:
    """After the stop record there is no write-ahead file that a copy of the folder could miss."""
    MadeUpRun(3).write(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [JOURNAL_NAME]


def test_the_journal_has_a_write_ahead_log(tmp_path: Path) -> None:
    """So a reader never waits for the writer, nor the writer for a reader."""
    Journal(tmp_path, START, places(1)).close(None)
    with closing(sqlite3.connect(tmp_path / JOURNAL_NAME)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_gauged_holes_are_added_and_never_changed(tmp_path: Path) -> None:
    """A hole gauged twice stands there twice; the last one counts."""
    MadeUpRun(3).write(tmp_path)
    first = GaugedHole(2, 1.49, 0.01, 1.2, "2026-01-03T00:00:00Z")
    second = GaugedHole(2, 1.51, 0.01, 1.2, "2026-01-04T00:00:00Z")
    append_gauged(tmp_path, [first])
    append_gauged(tmp_path, [second])
    record = read_journal(tmp_path)
    assert record.gauged == (first, second)
    assert record.gauged_last() == {2: second}


def test_a_folder_without_a_journal_is_refused_with_its_name(tmp_path: Path) -> None:
    """The message names the file looked for and what to name instead."""
    with pytest.raises(JournalError, match=r"journal\.sqlite: no journal here; name the folder of a run"):
        read_journal(tmp_path)


def test_a_file_that_is_no_journal_is_refused(tmp_path: Path) -> None:
    """Bytes of something else end as a JournalError that names the file, not as an error of the database."""
    (tmp_path / JOURNAL_NAME).write_bytes(b"no database at all, but long enough to look at" * 40)
    with pytest.raises(JournalError, match=r"journal\.sqlite: can't be read as a journal"):
        read_journal(tmp_path)


def test_a_journal_of_another_layout_is_refused(tmp_path: Path) -> None:
    """The message names both layouts."""
    MadeUpRun(1).write(tmp_path)
    with sqlite3.connect(tmp_path / JOURNAL_NAME) as connection:
        connection.execute("PRAGMA user_version=999")
    connection.close()
    with pytest.raises(JournalError, match="layout 999 of another version; this one reads layout 2"):
        read_journal(tmp_path)


def test_an_unknown_kind_of_event_is_refused(tmp_path: Path) -> None:
    """Nothing of a run is passed over in silence."""
    MadeUpRun(1).write(tmp_path)
    with sqlite3.connect(tmp_path / JOURNAL_NAME) as connection:
        connection.execute("INSERT INTO event VALUES (999999, 0.0, 'Sneezed', '{}')")
    connection.close()
    with pytest.raises(JournalError, match="unknown kind of event 'Sneezed'"):
        read_journal(tmp_path)


def test_a_folder_takes_one_journal_only(tmp_path: Path) -> None:
    """A second run into the same folder is refused and the first stays whole."""
    MadeUpRun(2).write(tmp_path)
    with pytest.raises(JournalError, match="there is a journal here already"):
        MadeUpRun(2).write(tmp_path)
    assert len(read_journal(tmp_path).finished()) == 2


# -- power cuts, second writers, disks that take nothing --------------------------------------------------------------


def test_a_power_cut_at_any_byte_of_the_last_pages_loses_nothing_that_was_committed(tmp_path: Path) -> None:
    """Cut at every byte around every frame's edges and at many between; `make kills` cuts at every byte there is."""
    run = tmp_path / "run"
    journal, reported = written(run)
    first, whole = reported[2][0], reported[-1][0]
    edges = {edge + off for edge, _ in reported for off in range(-3, 4)}
    cuts = sorted({*range(first, whole, 97), *(edge for edge in edges if first <= edge <= whole), whole})
    assert lost(run, tmp_path / "cut", reported, cuts) == []
    journal.close(None)


def test_a_torn_tail_is_no_trouble_either(tmp_path: Path) -> None:
    """A disk may leave zeros or rubbish where the last write was to go."""
    run, into = tmp_path / "run", tmp_path / "torn"
    run.mkdir()
    journal = Journal(run, START, places(3))
    journal.append(Said(1.0, "kept"))
    journal.commit()
    kept = (run / WAL_NAME).stat().st_size
    journal.append(Said(2.0, "lost"))
    journal.commit()
    cut_short(run, into, 10**9)
    for rubbish in (b"\0", b"\xa5"):
        wal = (run / WAL_NAME).read_bytes()
        (into / WAL_NAME).write_bytes(wal[: kept + 30] + rubbish * (len(wal) - kept - 30))
        assert [event.time_s for event in read_journal(into).events] == [1.0]
    journal.close(None)


def test_what_broke_off_is_taken_up_and_goes_on(tmp_path: Path) -> None:
    """Events go on where they were; a stop record in the middle is no stop record any more."""
    journal = Journal(tmp_path, START, places(2))
    journal.append(Said(1.0, "before"))
    journal.close(STOP)
    assert read_journal(tmp_path).stop == STOP
    journal = Journal.reopen(tmp_path)
    journal.append(Said(2.0, "after"))
    journal.commit()
    record = read_journal(tmp_path)
    assert [event.time_s for event in record.events] == [1.0, 2.0]
    assert record.stop is None
    journal.close(STOP)
    assert read_journal(tmp_path).stop == STOP
    assert read_journal(tmp_path).wall_s == 2 * STOP.wall_s


def test_a_journal_is_never_opened_for_writing_twice(tmp_path: Path) -> None:
    """Not by a second run, not by a hole being gauged; readers are welcome."""
    journal = Journal(tmp_path, START, places(2))
    with pytest.raises(JournalError, match="another process writes this journal"):
        Journal.reopen(tmp_path)
    with pytest.raises(JournalError, match="another process writes this journal"):
        append_gauged(tmp_path, [GaugedHole(1, 1.49, 0.01, 1.2, "2026-01-03T00:00:00Z")])
    assert read_journal(tmp_path).events == ()
    journal.close(None)
    Journal.reopen(tmp_path).close(None)


def test_a_full_disk_keeps_what_was_committed_and_what_waits(tmp_path: Path) -> None:
    """The commit fails, the events wait; once there is room the next commit takes them all."""
    journal = Journal(tmp_path, START, places(2))
    journal.append(Said(1.0, "fits"))
    journal.commit()
    pages = journal._connection.execute("PRAGMA page_count").fetchone()[0]
    journal._connection.execute(f"PRAGMA max_page_count={pages}")
    for number in range(200):
        journal.append(Said(2.0 + number, "does not fit " * 50))
    with pytest.raises(sqlite3.OperationalError, match="full"):
        journal.commit()
    assert [event.time_s for event in read_journal(tmp_path).events] == [1.0]
    assert journal.waiting == 200
    journal._connection.execute("PRAGMA max_page_count=1000000")
    journal.commit()
    assert len(read_journal(tmp_path).events) == 201
    journal.close(None)


def test_reading_changes_nothing_in_the_folder_not_even_what_a_crash_left(tmp_path: Path) -> None:
    """`report` and `resume` of a run that broke off look at it without tidying up."""
    run = tmp_path / "run"
    run.mkdir()
    journal = Journal(run, START, places(2))
    journal.append(Said(1.0, "kept"))
    journal.commit()
    left = cut_short(run, tmp_path / "left", 10**9)
    before = {path.name: path.read_bytes() for path in left.iterdir()}
    assert len(read_journal(left).events) == 1
    after = {path.name: path.read_bytes() for path in left.iterdir() if not path.name.endswith("-shm")}
    assert after == before
    journal.close(None)


def test_what_waits_is_not_written_when_a_journal_is_abandoned(tmp_path: Path) -> None:
    """A rehearsal's events without its machine would tell of holes that the machine does not have."""
    journal = Journal(tmp_path, START, places(2))
    journal.append(Said(1.0, "kept"))
    journal.commit(b"machine")
    journal.append(Said(2.0, "not kept"))
    journal.abandon()
    assert [event.time_s for event in read_journal(tmp_path).events] == [1.0]
    assert read_aside(tmp_path) == b"machine"
    Journal.reopen(tmp_path).close(None)


def test_who_waits_for_a_journal_gets_it_when_its_writer_is_done(tmp_path: Path) -> None:
    """The clerk of a run that was killed may still be at it; a run that goes on is not waited for without end."""
    held = FolderLock(tmp_path)
    assert not wait_until_free(tmp_path, 0.0)
    Timer(0.2, held.release).start()
    assert wait_until_free(tmp_path, 10.0)
