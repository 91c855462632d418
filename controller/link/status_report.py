"""A `status` board's report line, `<State|MPos:x,y,z|…>`: every field after the state is optional (wires.md)."""

from __future__ import annotations

import re
from dataclasses import dataclass

# Places are printed in millimetres with three decimals (wires.md shows the form; three decimals: from memory).
PRINTED_MM = 0.001
_STATE = re.compile(r"<([A-Za-z]+)(?::\d+)?((?:\|[^<>|]*)*)>")
_NUMBER = re.compile(r"-?\d{1,6}(?:\.\d{1,6})?")


@dataclass(slots=True, frozen=True)
class Report:
    """What a report says: the state without its sub-state, and the machine position in mm where it is given."""

    state: str
    machine_mm: tuple[float, float, float] | None


def read_report(line: str) -> Report | None:
    """The report of a line; None when it is none, or spoilt."""
    found = _STATE.fullmatch(line)
    if found is None:
        return None
    machine_mm: tuple[float, float, float] | None = None
    for field in found[2].split("|")[1:]:
        name, _, content = field.partition(":")
        if name == "MPos":
            machine_mm = _place(content)
            if machine_mm is None:
                return None
    return Report(found[1], machine_mm)


def _place(content: str) -> tuple[float, float, float] | None:
    """Three axes; a board with a fourth prints it behind them."""
    numbers = content.split(",")
    if len(numbers) < 3 or not all(_NUMBER.fullmatch(number) for number in numbers):
        return None
    return float(numbers[0]), float(numbers[1]), float(numbers[2])
