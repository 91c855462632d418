"""From a settings model back to TOML."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel


def settings_text(model: BaseModel) -> str:
    """The text of a model: plain entries, then a table for each part, lists of tables in double brackets."""
    return "\n".join(_lines(model.model_dump(), "")).strip("\n") + "\n"


def toml_entry(entry: object) -> str:
    """One entry as TOML; floats with all their digits."""
    if isinstance(entry, bool):
        return "true" if entry else "false"
    if isinstance(entry, str):
        return json.dumps(entry, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(entry, Sequence):
        return f"[{', '.join(toml_entry(part) for part in entry)}]"
    return repr(entry)


def _lines(table: Mapping[str, Any], name: str) -> list[str]:
    table = {key: entry for key, entry in table.items() if entry is not None}
    plain = {key: entry for key, entry in table.items() if not _is_table(entry) and not _are_tables(entry)}
    lines = [f"{key} = {toml_entry(entry)}" for key, entry in plain.items()]
    for key, entry in table.items():
        full = f"{name}.{key}" if name else key
        if _is_table(entry):
            lines += ["", f"[{full}]", *_lines(entry, full)]
        elif _are_tables(entry):
            for each in entry:
                lines += ["", f"[[{full}]]", *_lines(each, full)]
    return lines


def _is_table(entry: object) -> bool:
    return isinstance(entry, Mapping)


def _are_tables(entry: object) -> bool:
    return isinstance(entry, list | tuple) and bool(entry) and all(isinstance(each, Mapping) for each in entry)
