"""The journal cut short at every byte of what was written last, as a power cut leaves it: `make kills` runs it.

A disk that lost power keeps what was synchronised and any part of what was not. So the write-ahead file is cut at every
byte of its last transactions; each time the journal must open, hold every event that had been reported by then, and no
transaction by half.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

from controller.core.events import Said
from controller.record.journal import JOURNAL_NAME, Journal, read_journal
from tests.record.made_up import START, places

WAL_NAME = f"{JOURNAL_NAME}-wal"
COMMITS, EACH = 6, 5


def written(run: Path) -> tuple[Journal, list[tuple[int, int]]]:
    """A journal in the middle of its run; after each commit the size of its write-ahead file, and events by then."""
    run.mkdir()
    journal = Journal(run, START, places(3))
    reported = []
    for number in range(COMMITS):
        for _ in range(EACH):
            journal.append(Said(float(number), "something to be remembered " * 8))
        journal.commit()
        reported.append(((run / WAL_NAME).stat().st_size, EACH * (number + 1)))
    return journal, reported


def cut_short(source: Path, into: Path, wal_bytes: int) -> Path:
    """A copy of a journal whose write-ahead file ends after so many bytes."""
    into.mkdir(exist_ok=True)
    (into / JOURNAL_NAME).write_bytes((source / JOURNAL_NAME).read_bytes())
    (into / WAL_NAME).write_bytes((source / WAL_NAME).read_bytes()[:wal_bytes])
    (into / f"{JOURNAL_NAME}-shm").unlink(missing_ok=True)
    return into


def lost(run: Path, into: Path, reported: list[tuple[int, int]], cuts: Iterable[int]) -> list[str]:
    """What is wrong with the journals cut at these bytes, in words."""
    wrong = []
    for cut in cuts:
        kept = len(read_journal(cut_short(run, into, cut)).events)
        least = max((events for size, events in reported if size <= cut), default=0)
        if kept < least or kept % EACH:
            wrong.append(f"cut at byte {cut}: {kept} events, {least} were reported")
    return wrong


def main() -> None:
    """Cut at every byte of all but the first two transactions."""
    with tempfile.TemporaryDirectory() as scratch:
        run = Path(scratch) / "run"
        journal, reported = written(run)
        first, whole = reported[1][0], reported[-1][0]
        wrong = lost(run, Path(scratch) / "cut", reported, range(first, whole + 1))
        journal.close(None)
    sys.stdout.write("".join(f"{line}\n" for line in wrong))
    sys.stdout.write(f"{whole - first + 1} power cuts, one at every byte: {len(wrong)} lost something reported\n")
    raise SystemExit(1 if wrong else 0)


if __name__ == "__main__":
    main()
