"""A lock on a folder that dies with its process: whoever holds it is the only one who writes there."""

from __future__ import annotations

import os
from pathlib import Path
from time import monotonic, sleep
from typing import Final

try:
    import fcntl
except ImportError:  # a system without: nobody is kept out there
    HAS_LOCKS = False
else:
    HAS_LOCKS = True


# Between two looks whether a lock was given back (s). Chosen.
LOOK_S: Final = 0.1


class FolderLock:
    """Tries to take the lock of a folder at once; no file is left behind.

    Attributes:
        taken: This object holds it (or the system has no such locks).
    """

    __slots__ = ("_file", "taken")

    def __init__(self, folder: Path) -> None:
        self._file: int | None = None
        self.taken = True
        if not HAS_LOCKS:
            return
        # The folder and not the journal: closing any file handle of a database drops SQLite's own locks on it.
        self._file = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self.taken = False
            self.release()

    def release(self) -> None:
        """Give it back."""
        if self._file is not None:
            os.close(self._file)
            self._file = None

    close = release


def wait_until_free(folder: Path, patience_s: float) -> bool:
    """Wait until nobody holds the lock of a folder; False when somebody still does after `patience_s`."""
    until_s = monotonic() + patience_s
    while True:
        lock = FolderLock(folder)
        lock.release()
        if lock.taken or monotonic() > until_s:
            return lock.taken
        sleep(LOOK_S)
