"""A person at the virtual machine, told by words what to do with his hands.

A real machine has somebody who pushes the rod out, frees a welded tip, presses the stop. Here a line typed where
`simulate` runs stands for him. Hands near an electrode that is not proven isolated are refused, as the plant refuses
them.
"""

from __future__ import annotations

from collections.abc import Callable

from sim.hands import HandsRefusedError
from sim.machine import VirtualMachine

Deed = Callable[[VirtualMachine], None]


def _press(pressed: bool) -> Deed:
    return lambda plant: plant.press_stop(pressed)


def _guard(closed: bool) -> Deed:
    def turn(plant: VirtualMachine) -> None:
        plant.guard_closed = closed

    return turn


def _level(enough: bool) -> Deed:
    def turn(plant: VirtualMachine) -> None:
        plant.level_ok = enough

    return turn


def _supply(on: bool) -> Deed:
    def turn(plant: VirtualMachine) -> None:
        plant.supply_on = on

    return turn


DEEDS: dict[str, Deed] = {
    "new": lambda plant: plant.new_electrode(),
    "free": lambda plant: plant.free_electrode(),
    "stop": _press(True),
    "release": _press(False),
    "open guard": _guard(False),
    "close guard": _guard(True),
    "supply off": _supply(False),
    "supply on": _supply(True),
    "drain tank": _level(False),
    "fill tank": _level(True),
}
ADVANCE = "advance"
METER = "meter"
WORDS = ", ".join((f"{ADVANCE} MM", *DEEDS, METER))


def obey(plant: VirtualMachine, line: str) -> str:
    """Do what a line says; return what came of it, in words."""
    words = " ".join(line.lower().split())
    if words == METER:
        return f"the meter says {plant.meter_v():+.0f} V (plus lead on the table, minus lead on the electrode)"
    deed = _advance(words) if words.startswith(f"{ADVANCE} ") else DEEDS.get(words)
    if deed is None:
        return f"can't do {line.strip()!r}; there are: {WORDS}"
    try:
        deed(plant)
    except HandsRefusedError as refused:
        return f"refused: {refused}"
    return f"done: {words}"


def _advance(words: str) -> Deed | None:
    """Push the rod out until it stands out by so many millimetres."""
    try:
        protrusion_mm = float(words.removeprefix(ADVANCE))
    except ValueError:
        return None
    return (lambda plant: plant.advance_electrode(protrusion_mm)) if 0.0 < protrusion_mm < 1000.0 else None
