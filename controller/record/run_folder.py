"""The folder of a run: made before it starts, completed from its journal when it is over."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from controller.record.holes import write_gauged, write_tables
from controller.record.journal import read_journal
from controller.record.report import write_report
from controller.record.summary import Summary, summarise, write_summary

# Kinds of event that neither tables nor summary nor report look at, and most of a long job's.
UNREPORTED: Final = ("PhaseChanged", "Said", "ShortBegan", "Checkpoint", "Proven", "BrokeThrough")


class RunFolderError(Exception):
    """The folder can't take a run; the message names it and says what would do."""


def refuse_taken(run: Path) -> None:
    """Make sure that a folder can take a new run: it must be absent or empty. Raises RunFolderError when it is not."""
    if run.exists() and not run.is_dir():
        raise RunFolderError(f"{run}: is a file; name a folder that is absent or empty")
    if run.is_dir() and any(run.iterdir()):
        raise RunFolderError(f"{run}: holds files already; name a folder that is absent or empty")


def make_run_folder(run: Path) -> None:
    """Make the folder of a new run, which must be absent or empty.

    Raises:
        RunFolderError: Something is in the way.
    """
    refuse_taken(run)
    try:
        run.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RunFolderError(f"{run}: can't be made ({error.strerror})") from error


def complete_run_folder(run: Path) -> Summary:
    """Write tables, summary and report of a run from its journal, as far as it got; returns the summary.

    Raises:
        JournalError: No readable journal in that folder.
        RunFolderError: The disk does not take them.
    """
    record = read_journal(run, without=UNREPORTED)
    summary = summarise(record)
    try:
        write_tables(run, record)
        if record.gauged:
            write_gauged(run, record)
        write_summary(run, summary)
        write_report(run, record)
    except OSError as error:
        raise RunFolderError(
            f"{run}: tables and report can't be written ({error.strerror}); the journal is whole. Make room, then "
            f"`gapwright report {run}`"
        ) from error
    return summary
