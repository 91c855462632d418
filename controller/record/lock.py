"""A lock on a folder that dies with its process: whoever holds it is the only one who writes there."""

from __future__ import annotations

import os
from pathlib import Path

try:
    import fcntl
except ImportError:  # a system without: nobody is kept out there
    HAS_LOCKS = False
else:
    HAS_LOCKS = True


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
