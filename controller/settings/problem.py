"""What can be wrong with a settings file, said so that the reader can put it right."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

LONGEST_QUOTE = 60
"""Characters of a bad entry that are quoted. Chosen so that a message stays on one line of a wide terminal."""


@dataclass(slots=True, frozen=True)
class Problem:
    """One mistake: the file, the dotted key (list places as `[2]`; empty for the file as a whole), and the remedy."""

    file: str
    key: str
    remedy: str

    def __str__(self) -> str:
        where = f"{self.file}: {self.key}" if self.key else self.file
        return f"{where}: {self.remedy}"


class SettingsError(Exception):
    """Settings were refused. `problems` holds every mistake found."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def quoted(entry: Any) -> str:
    """The entry as it stands in a settings file, shortened; tables are called tables."""
    if isinstance(entry, dict):
        return "a table"
    if isinstance(entry, float) and not math.isfinite(entry):
        return str(entry)
    text = json.dumps(entry, ensure_ascii=False, default=str)
    return text if len(text) <= LONGEST_QUOTE else text[: LONGEST_QUOTE - 1] + "…"


def wrote(entry: Any) -> str:
    """The closing words of a remedy: what stands in the file now."""
    return f"; you wrote {quoted(entry)}"


def dotted(path: Sequence[str | int]) -> str:
    """A path of keys and list places as people write it: `holes.pattern[0].pitch_mm`."""
    key = ""
    for part in path:
        key += f"[{part}]" if isinstance(part, int) else f".{part}" if key else part
    return key
