"""Writing a file so that it is either there whole or not there at all."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: Path, text: str) -> None:
    """Write `text` as UTF-8 with plain line feeds; a crash leaves the old file or the new one, never half of one.

    Raises:
        OSError: The folder is missing, read-only or full.
    """
    draft = path.with_name(path.name + ".part")
    with draft.open("w", encoding="utf-8", newline="\n") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    draft.replace(path)
