"""Plants drawn at random: other physics than the default plant's, and a technology guessed wrong.

Every key of the plant settings is drawn, and the keys come from the model itself: a key added to `sim.settings` is
drawn without anybody remembering. Each key has its own stream of chance, so that a new key changes no other.

- A number is drawn log-uniform over [1/2, 2] of its default, kept inside what its field allows.
- `RANGES` holds the exceptions: geometry and water over what is met in workshops, whatever the default.
- A law (a `Literal`) or a yes-or-no is drawn evenly from all there are.
- The technology given to the controller is off by a drawn factor in [1/2, 2], one for each figure (`GUESSES`: overcut,
  removal, wear, cone); its spread `u` keeps its share of the guess, so nobody tells the controller that it is wrong.

Not drawn: the machine file. What a maker reads off the machine or sets on the board stays true (steps, travel, front
end); what he only believes (backlash, drop-outs, voltages) stays at what the file says and so is wrong here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log2
from typing import Any, Literal, cast, get_args, get_origin
from zlib import crc32

import annotated_types
import numpy as np
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from controller.settings.technology import Technology
from sim.settings import PlantSettings, load_plant

# The spread of a drawn number about its default, either way.
WIDEST = 2.0
# Exceptions: (least, most, drawn on a logarithmic scale). Backlash about the 30-50 um of soft axes (references, section
# 6), from good to nearly twice that; plates clamped by hand, holders of one's own making (common practice, no source);
# rain water to the hardest that electrics.md reckons with.
RANGES: dict[str, tuple[float, float, bool]] = {
    "axes.backlash_um": (10.0, 80.0, True),
    "plate.tilt_mm": (0.0, 0.6, False),
    "plate.bow_mm": (0.0, 0.3, False),
    "rod.lean_x_mm_m": (-10.0, 10.0, False),
    "rod.lean_y_mm_m": (-10.0, 10.0, False),
    "water.conductivity_us_cm": (50.0, 1500.0, True),
}
# Technology figures that are guessed wrong: all there are.
GUESSES = ("overcut_mm", "removal_mm3_s", "volumetric_wear", "cone_diameters")
# No arc burns at more than this share of the voltage that ignites it: a limit by resistance leaves less. Chosen; the
# default plant has a third.
MOST_BURNING = 0.75
# An exclusive bound is kept clear of by this share of it. Chosen: nothing a plant would notice.
CLEAR = 1e-3

Entry = bool | float | int | str


@dataclass(slots=True, frozen=True)
class Drawn:
    """One drawn plant.

    Attributes:
        number: Which of the plants drawn from the seed.
        seed: Seed of its noise.
        plant: What is true.
        technology: What the controller is told.
        guessed: Factor by which each technology figure was changed.
    """

    number: int
    seed: int
    plant: PlantSettings
    technology: Technology
    guessed: dict[str, float]


def draw(seed: int, number: int, technology: Technology) -> Drawn:
    """Plant `number` of those drawn from `seed`; number 0 is the default plant with the technology as it is."""
    own = int(_chance(seed, number, "seed").integers(0, 2**31))
    if number == 0:
        return Drawn(0, own, load_plant(), technology, dict.fromkeys(GUESSES, 1.0))
    drawn = {key: _entry(key, field, default, _chance(seed, number, key)) for key, field, default in keys()}
    drawn["source.burning_v"] = min(float(drawn["source.burning_v"]), MOST_BURNING * float(drawn["source.open_v"]))
    guessed = {name: _factor(_chance(seed, number, f"technology.{name}")) for name in GUESSES}
    return Drawn(number, own, _plant(drawn), _guessed_wrong(technology, guessed), guessed)


def keys(model: BaseModel | None = None, at: str = "") -> Iterator[tuple[str, FieldInfo, Entry]]:
    """Every key of the plant settings by its dotted name, its field, and the default plant's entry."""
    settings = load_plant() if model is None else model
    for name, field in type(settings).model_fields.items():
        if name == "placed":  # where a plate lies that is to be located: a set-up, not a property of the plant
            continue
        entry = getattr(settings, name)
        if isinstance(entry, BaseModel):
            yield from keys(entry, f"{at}{name}.")
        else:
            yield at + name, field, cast(Entry, entry)


def strayed(plant: PlantSettings) -> dict[str, float]:
    """By how many octaves each number of a plant is off the default plant's; what is 0 there is left out."""
    default = {key: entry for key, _, entry in keys()}
    return {
        key: log2(entry / cast(float, default[key]))
        for key, _, entry in keys(plant)
        if not isinstance(entry, bool | str) and entry > 0 and cast(float, default[key]) > 0
    }


def laws(plant: PlantSettings) -> dict[str, Entry]:
    """The laws of a plant by key."""
    return {key: entry for key, _, entry in keys(plant) if isinstance(entry, bool | str)}


def _chance(seed: int, number: int, name: str) -> np.random.Generator:
    return np.random.default_rng([seed, number, crc32(name.encode())])


def _factor(chance: np.random.Generator) -> float:
    return float(WIDEST ** chance.uniform(-1.0, 1.0))


def _entry(key: str, field: FieldInfo, default: Entry, chance: np.random.Generator) -> Entry:
    if isinstance(default, bool):
        return bool(chance.random() < 0.5)
    if get_origin(field.annotation) is Literal:
        return cast(str, chance.choice(list(get_args(field.annotation))).item())
    assert not isinstance(default, str), f"{key}: a text that is no law can't be drawn"
    drawn = _in_range(*RANGES[key], chance) if key in RANGES else _inside(field, default * _factor(chance))
    return round(drawn) if isinstance(default, int) else drawn


def _in_range(least: float, most: float, logarithmic: bool, chance: np.random.Generator) -> float:
    if logarithmic:
        return float(least * (most / least) ** chance.random())
    return float(chance.uniform(least, most))


def _inside(field: FieldInfo, drawn: float) -> float:
    """The nearest number that the field allows."""
    for bound in field.metadata:
        match bound:
            case annotated_types.Ge(ge=least):
                drawn = max(drawn, cast(float, least))
            case annotated_types.Gt(gt=least):
                drawn = max(drawn, cast(float, least) * (1.0 + CLEAR))
            case annotated_types.Le(le=most):
                drawn = min(drawn, cast(float, most))
            case annotated_types.Lt(lt=most):
                drawn = min(drawn, cast(float, most) * (1.0 - CLEAR))
    return drawn


def _plant(drawn: dict[str, Entry]) -> PlantSettings:
    sections: dict[str, dict[str, Any]] = {}
    for key, entry in drawn.items():
        section, name = key.split(".")
        sections.setdefault(section, {})[name] = entry
    return PlantSettings.model_validate({**sections, "placed": load_plant().placed})


def _guessed_wrong(technology: Technology, factors: dict[str, float]) -> Technology:
    wrong = {}
    for name, factor in factors.items():
        figure = getattr(technology, name)
        wrong[name] = figure.model_copy(update={"guess": factor * figure.guess, "u": factor * figure.u})
    return technology.model_copy(update=wrong)
