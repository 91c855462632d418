"""Jobs and machines for the tests of the plan."""

from __future__ import annotations

from typing import Any

from controller.settings.job import Electrode, Holes, Job, JobHead, Staggered, Work
from controller.settings.machine import Axes, Machine
from controller.settings.technology import Guess, Pair, Technology

ROOMY = Axes(travel_min_mm=(0.0, 0.0, -90.0), travel_max_mm=(220.0, 220.0, 0.0))


def machine(**changes: Any) -> Machine:
    return Machine(name="bench", axes=ROOMY).model_copy(update=changes)


def job(**changes: Any) -> Job:
    """A small plate; `changes` replace fields of the tables by dotted key, with `__` for the dot."""
    tables: dict[str, dict[str, Any]] = {
        "job": {"name": "plate", "technology": "pair"},
        "work": {
            "material": "stainless steel",
            "thickness_mm": 1.0,
            "clear_below_mm": 6.0,
            "touch_points_mm": [(2.0, 2.0), (58.0, 2.0), (30.0, 48.0)],
        },
        "electrode": {
            "material": "tungsten",
            "diameter_mm": 1.2,
            "length_mm": 120.0,
            "min_length_mm": 25.0,
        },
        "holes": {
            "diameter_mm": 1.5,
            "tolerance_mm": 0.05,
            "pattern": [Staggered(kind="staggered", origin_mm=(6.0, 6.0), columns=4, rows=3, pitch_mm=6.0)],
        },
    }
    for key, entry in changes.items():
        table, name = key.split("__")
        tables[table][name] = entry
    return Job(
        job=JobHead(**tables["job"]),
        work=Work(**tables["work"]),
        electrode=Electrode(**tables["electrode"]),
        holes=Holes(**tables["holes"]),
    )


def technology(**changes: Guess) -> Technology:
    return Technology(
        pair=Pair(name="pair", electrode="tungsten", work=["stainless steel"]),
        overcut_mm=Guess(guess=0.14, u=0.025),
        removal_mm3_s=Guess(guess=0.05, u=0.02),
        volumetric_wear=Guess(guess=0.10, u=0.05),
        cone_diameters=Guess(guess=0.8, u=0.3),
    ).model_copy(update=dict(changes))
