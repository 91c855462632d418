"""Electrode wear against depth: the tool's volume lost over the work's volume removed, where the tip is now."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from sim.settings import PlantSettings
from sim.settings import Wear as WearPlant


def _even(plant: WearPlant) -> Callable[[float], float]:
    share = plant.volumetric_ratio * plant.tool_scale
    return lambda _depth_um: share


def _rising(plant: WearPlant) -> Callable[[float], float]:
    # The deeper the hole, the more the debris on its way out costs the tool; straight in depth: chosen as the simplest
    # law under which an assumed wear ratio is off by more with depth (Puthumana, Bissacco & Hansen 2017).
    share = plant.volumetric_ratio * plant.tool_scale
    return lambda depth_um: share * (1.0 + depth_um / plant.rise_um)


LAWS: Final = {"even": _even, "rising": _rising}


def wear_against_depth(plant: PlantSettings) -> Callable[[float], float]:
    """The volumetric wear ratio (tool over work, 0 to 1) as a function of the depth of the hole (um)."""
    return LAWS[plant.wear.law](plant.wear)
