"""The settings of a `status` board that must hold: read from its own list, checked, reported with the remedy.

wires.md: 1 idle lock, 10 report mask, 100–102 steps/mm, 110–112 top feed (mm/min), 120–122 acceleration (mm/s²),
130–132 travel (mm). Nothing is written to the board: whether the board or the machine file is wrong, the maker knows.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from controller.link.notices import Problem
from controller.settings.machine import Machine

ALWAYS_ON = 255  # idle lock: never off (wires.md: at its default the drivers go off when the queue runs dry)
MACHINE_POSITION = 1  # bit of the report mask: positions are the machine's (from memory)
INCHES = 13  # 1: reports are in inches (from memory)
S_PER_MIN = 60.0
# Settings are printed with three decimals; a share of 10⁻⁴ beyond that is no other setting: 0.1 µm on a millimetre.
# Chosen so.
PRINTED, SAME = 0.0005, 1e-4
_ENTRY = re.compile(r"\$(\d{1,3})=(-?\d{1,9}(?:\.\d{1,9})?)(?:\s.*)?")


def read_setting(line: str) -> tuple[int, float] | None:
    """Number and figure of a line of the settings list; None when it is none."""
    found = _ENTRY.fullmatch(line)
    return (int(found[1]), float(found[2])) if found else None


@dataclass(slots=True, frozen=True)
class _Need:
    number: int
    name: str
    figure: float
    why: str
    at_least: bool = False
    bars: bool = False

    def holds(self, found: float) -> bool:
        room = PRINTED + SAME * abs(self.figure)
        return found >= self.figure - room if self.at_least else abs(found - self.figure) <= room


def check_settings(found: Mapping[int, float], machine: Machine) -> list[Problem]:
    """Everything in a board's settings that does not agree with the machine file."""
    problems = [] if _reports_machine_position(found) else [_mask_problem(found)]
    if found.get(INCHES, 0.0) != 0.0:
        remedy = f"send ${INCHES}=0 to the board, else its positions are told in inches and taken for millimetres"
        problems.append(Problem("board", "unit of reports", f"${INCHES}={found[INCHES]:g}", remedy))
    for need in _needs(machine):
        figure = found.get(need.number)
        if figure is None:
            problems.append(_problem(need, f"${need.number} is not in the board's list"))
        elif not need.holds(figure):
            problems.append(_problem(need, f"${need.number}={figure:g}"))
    return problems


def _needs(machine: Machine) -> Iterator[_Need]:
    axes = machine.axes
    yield _Need(1, "idle lock", ALWAYS_ON, "else the drivers go off whenever the queue runs dry")
    for axis, letter in enumerate("xyz"):
        yield _Need(
            100 + axis,
            f"steps per mm, {letter}",
            axes.steps_per_mm[axis],
            f"or correct axes.steps_per_mm[{axis}] in the machine file, whichever is wrong",
            bars=True,
        )
        yield _Need(
            110 + axis,
            f"top feed, {letter}",
            axes.top_speed_mm_s[axis] * S_PER_MIN,
            f"or lower axes.top_speed_mm_s[{axis}] in the machine file",
            at_least=True,
        )
        yield _Need(
            120 + axis,
            f"acceleration, {letter}",
            axes.acceleration_mm_s2[axis],
            f"or lower axes.acceleration_mm_s2[{axis}] in the machine file",
            at_least=True,
        )
        yield _Need(
            130 + axis,
            f"travel, {letter}",
            axes.travel_max_mm[axis] - axes.travel_min_mm[axis],
            f"or narrow axes.travel_min_mm[{axis}] and travel_max_mm[{axis}] in the machine file",
            at_least=True,
        )


def _problem(need: _Need, found: str) -> Problem:
    least = "at least " if need.at_least else ""
    remedy = f"send ${need.number}={need.figure:g} ({least}that) to the board, {need.why}"
    return Problem("board", need.name, found, remedy, need.bars)


def _reports_machine_position(found: Mapping[int, float]) -> bool:
    return 10 in found and bool(int(found[10]) & MACHINE_POSITION)


def _mask_problem(found: Mapping[int, float]) -> Problem:
    written = f"$10={found[10]:g}" if 10 in found else "$10 is not in the board's list"
    remedy = "send $10=3 to the board, else its reports don't hold the machine position"
    return Problem("board", "report mask", written, remedy)
