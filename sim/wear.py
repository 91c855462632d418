"""Electrode wear against depth: the tool's volume lost over the work's volume removed, where the tip is now."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from sim.settings import PlantSettings
from sim.settings import Wear as WearPlant


class Even:
    """The same ratio at every depth."""

    def __init__(self, plant: WearPlant) -> None:
        self._share = plant.volumetric_ratio * plant.tool_scale

    def __call__(self, _depth_um: float) -> float:
        """The ratio at a depth."""
        return self._share


class Rising:
    """The deeper the hole, the more the debris on its way out costs the tool.

    Straight in depth: chosen as the simplest law under which an assumed wear ratio is off by more with depth
    (Puthumana, Bissacco & Hansen 2017).
    """

    def __init__(self, plant: WearPlant) -> None:
        self._share = plant.volumetric_ratio * plant.tool_scale
        self._rise_um = plant.rise_um

    def __call__(self, depth_um: float) -> float:
        """The ratio at a depth."""
        return self._share * (1.0 + depth_um / self._rise_um)


# Classes and not closures: a plant can be put aside and taken up again.
LAWS: Final[dict[str, Callable[[WearPlant], Callable[[float], float]]]] = {"even": Even, "rising": Rising}


def wear_against_depth(plant: PlantSettings) -> Callable[[float], float]:
    """The volumetric wear ratio (tool over work, 0 to 1) as a function of the depth of the hole (um)."""
    return LAWS[plant.wear.law](plant.wear)
