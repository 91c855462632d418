"""The technology file: rough figures for one electrode/work pair, as a user would know them before the first hole.

Every figure is a guess with a spread: the core starts from it and learns better; none is the plant's truth.
"""

from __future__ import annotations

from pydantic import Field

from controller.settings.base import Settings


class Guess(Settings):
    """A figure and its standard uncertainty, in the unit of its key."""

    guess: float = Field(gt=0)
    u: float = Field(gt=0)


class Pair(Settings):
    """The pair this technology is for; a job with other materials is refused."""

    name: str = Field(min_length=1)
    electrode: str = Field(min_length=1)
    work: list[str] = Field(min_length=1)


class Technology(Settings):
    """Rough figures for one electrode/work pair.

    Fields: overcut a side (mm); removal rate (mm³/s); volumetric wear ratio (tool volume/work volume, 0..1); cone
    length of the worn tip as a multiple of the rod's diameter.
    """

    pair: Pair
    overcut_mm: Guess
    removal_mm3_s: Guess
    volumetric_wear: Guess
    cone_diameters: Guess
