"""Where the bus of a run is found: a folder of its own, which nobody but the owner of the run may enter.

The folder's name comes from the path of the run folder, so whoever knows the run finds its process. It does not stand
in the run folder itself, because the path of a socket may be a hundred bytes long and no more (`sun_path`, unix(7)).
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

PRIVATE: Final = 0o700
# Sixteen hexadecimal digits: a chance meeting of two run folders is out of the question, and paths stay short.
NAME_LENGTH: Final = 16
NOTE_NAME: Final = "run.json"


class BusError(Exception):
    """The bus of a run can't be made or found; the message says why and what to do."""


@dataclass(slots=True, frozen=True)
class Place:
    """The place of one run's bus."""

    folder: Path

    @property
    def told(self) -> str:
        """Where everything is told, as an address."""
        return f"ipc://{self.folder / 'told'}"

    @property
    def asked(self) -> str:
        """Where requests are taken, as an address."""
        return f"ipc://{self.folder / 'asked'}"

    def make(self, run: Path) -> None:
        """Make the place and note which run it belongs to. Raises BusError when it can't be made private."""
        _private(self.folder)
        note = {"run": str(run.resolve()), "pid": os.getpid()}
        (self.folder / NOTE_NAME).write_text(json.dumps(note), encoding="utf-8")

    def clear(self) -> None:
        """Remove the place; what can't be removed is harmless."""
        with suppress(OSError):
            for each in self.folder.iterdir():
                each.unlink()
            self.folder.rmdir()

    def run(self) -> Path | None:
        """The run that was noted here; None when nothing sound was."""
        try:
            note = json.loads((self.folder / NOTE_NAME).read_text(encoding="utf-8"))
            return Path(note["run"])
        except (OSError, ValueError, KeyError, TypeError):
            return None


def place_of(run: Path) -> Place:
    """The place of a run's bus, whether there is one or not. Raises BusError when no private place can be had."""
    name = hashlib.sha256(os.fsencode(run.resolve())).hexdigest()[:NAME_LENGTH]
    return Place(_shared() / name)


def places() -> Iterator[Place]:
    """Every place there is, of runs that go on and of runs that died."""
    for folder in sorted(_shared().iterdir()):
        if folder.is_dir():
            yield Place(folder)


def _shared() -> Path:
    """The folder of all places of this user."""
    if not hasattr(os, "getuid"):
        raise BusError("this system has no private sockets: runs can't be watched here; start them with --headless")
    given = os.environ.get("XDG_RUNTIME_DIR")
    above = Path(given) if given and Path(given).is_dir() else Path(tempfile.gettempdir())
    return _private(above / f"gapwright-{os.getuid()}")


def _private(folder: Path) -> Path:
    """The folder, made if need be; never one that others own, may enter, or have put a link in place of."""
    try:
        folder.mkdir(mode=PRIVATE, exist_ok=True)
        seen = folder.lstat()
    except OSError as error:
        raise BusError(f"{folder}: can't be made ({error.strerror}); it is where runs are watched from") from error
    if not stat.S_ISDIR(seen.st_mode) or seen.st_uid != os.getuid() or stat.S_IMODE(seen.st_mode) & 0o077:
        raise BusError(f"{folder}: must be a folder of yours that nobody else may enter (mode 0700); remove it")
    return folder
