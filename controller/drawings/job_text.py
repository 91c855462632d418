"""A job file's text: from a model back to TOML that a person goes on editing."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from controller.settings.job import Job, Points

# Decimals of a place in mm: a tenth of a micrometre, well below any motor step.
DECIMALS = 4


def job_text(job: Job, heading: Sequence[str], notes: Mapping[str, str]) -> str:
    """The text of a job.

    Args:
        job: What it says.
        heading: Comment lines at the head.
        notes: A comment beside an entry, by its dotted key.
    """
    lines = [f"# {line}".rstrip() for line in heading]
    sections = job.model_dump(exclude={"holes": {"pattern"}})
    for section, entries in sections.items():
        lines += ["", f"[{section}]"]
        for key, entry in entries.items():
            if entry in ((), [], None):
                continue
            note = notes.get(f"{section}.{key}")
            lines.append(f"{key} = {_toml(entry)}" + (f"  # {note}" if note else ""))
    for pattern in job.holes.pattern:
        lines += ["", "[[holes.pattern]]"]
        if isinstance(pattern, Points):
            lines += ['kind = "list"', "at_mm = ["]
            lines += [f"    {_toml(place)}," for place in pattern.at_mm]
            lines.append("]")
        else:
            lines += [f"{key} = {_toml(entry)}" for key, entry in pattern.model_dump().items()]
    return "\n".join(lines) + "\n"


def _toml(entry: object) -> str:
    if isinstance(entry, bool):
        return "true" if entry else "false"
    if isinstance(entry, str):
        return json.dumps(entry, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(entry, Sequence):
        return f"[{', '.join(_toml(part) for part in entry)}]"
    if isinstance(entry, float):
        return repr(round(entry, DECIMALS) + 0.0)
    return repr(entry)
