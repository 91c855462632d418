"""How soon a true short is answered: by the first reversed step, and by the tip itself standing clear of it.

A coupon's plate with a plant that bridges its gap thirty times as often, so that there are shorts enough to tell a
percentile of. Everything by the truth behind the virtual boards.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, nan
from pathlib import Path
from time import sleep
from typing import Any

from tests.benchmarks.wires.pair import host_end, machine_end

# Bridges of the gap a second, some thirty times those of the default plant.
PLANT = "[weld]\nbridge_rate_hz = 40.0\n"
JOB = "diffuser.toml"


@dataclass(slots=True, frozen=True)
class Answers:
    """Times of a lot of shorts (s), each sorted.

    Attributes:
        told: Short to the first byte of the retreat at the board's port.
        reversed: Short to the first step up; a short left alone for longer than it lasted counts as that long at least.
        away: Short to the tip 5 µm away.
        board: Retreat's first byte to the first step up.
        by_itself: Shorts that were over before any answer, not counted above, and the longest of them (s).
    """

    told: list[float]
    reversed: list[float]
    away: list[float]
    board: list[float]
    by_itself: int
    longest_s: float
    slips: int


def measured(folder: Path, convention: str, front_end: str, tick_hz: int, wanted_s: float, seed: int) -> Answers:
    """Drill for `wanted_s` from the first sparks on."""
    settings: dict[str, Any] = {"convention": convention, "front_end": front_end, "tick_hz": tick_hz}
    with (
        machine_end(folder, **settings, job=JOB, plant=PLANT, seed=seed) as machine,
        host_end(machine.machine, folder / "run", JOB),
    ):
        machine.until("eroding")
        sleep(wanted_s)
        return answers(machine.end())


def answers(told: dict[str, Any]) -> Answers:
    """What the virtual machine saw of its shorts."""
    # JSON has no infinity of its own; Python's writes and reads one.
    shorts = told["shorts"]
    answered = [short for short in shorts if short["reversed_s"] < inf]
    alone_s = [
        short["ended_s"] - short["began_s"] for short in shorts if short["reversed_s"] == inf and short["ended_s"] < inf
    ]
    return Answers(
        sorted(short["told_s"] - short["began_s"] for short in answered if short["told_s"] < inf),
        sorted(short["reversed_s"] - short["began_s"] for short in answered),
        sorted(short["away_s"] - short["began_s"] for short in answered if short["away_s"] < inf),
        sorted(short["reversed_s"] - short["told_s"] for short in answered if short["told_s"] < inf),
        len(alone_s),
        max(alone_s, default=0.0),
        told["slips"],
    )


def percentile(times: list[float], share: float) -> float:
    """The time that this share of them did not exceed; nan of none."""
    return times[min(int(share * len(times)), len(times) - 1)] if times else nan
