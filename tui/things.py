"""What can be found by touching, what each needs to be told, and how that is said to `gapwright locate`. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Final

Said = Mapping[str, str]


class FieldError(Exception):
    """What stands in a field can't be used; `field` is its key."""

    def __init__(self, field: str, words: str) -> None:
        super().__init__(words)
        self.field = field


@dataclass(slots=True, frozen=True)
class Field:
    """A figure, or two that belong together.

    Attributes:
        key: Its name.
        option: How `gapwright locate` calls it.
        label: What it is, with its unit.
        parts: How many figures.
        empty: What it counts as when it is left empty; nothing when it can't be.
        above_zero: It has to be more than nothing.
    """

    key: str
    option: str
    label: str
    parts: int = 1
    empty: str = ""
    above_zero: bool = False

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys of its figures."""
        return (self.key,) if self.parts == 1 else tuple(f"{self.key}-{part}" for part in "xy"[: self.parts])


@dataclass(slots=True, frozen=True)
class Thing:
    """Something that can be found.

    Attributes:
        key: Its name.
        label: What it is called.
        gives: What is known once it was found.
        command: The words behind `gapwright locate`.
        fields: What it needs to be told.
    """

    key: str
    label: str
    gives: str
    command: tuple[str, ...]
    fields: tuple[Field, ...]


FILE: Final = "as in the file"
NEAR: Final = Field("near", "--near", "The job's zero lies roughly at, machine mm", 2, empty=FILE)
TURNED: Final = Field("turned", "--turned", "and is turned by, degrees", empty=FILE)
OFF: Final = Field("off", "--off", "That may be off by, mm", empty="2", above_zero=True)
AT: Final = Field("at", "--at", "The drawing has it at, job mm", 2, empty="0")
MIDDLE: Final = Field("at", "--at", "The drawing has its middle at, job mm", 2)
DIAMETER: Final = Field("diameter", "--diameter", "Diameter, roughly, mm", above_zero=True)
HEIGHT: Final = Field("height", "--height", "It stands up by, mm", above_zero=True)
TIP: Final = Field("tip", "--tip", "The rod stands out by, measured, mm", above_zero=True)
PLATE: Final = Field("near", "--near", "Somewhere on the reference plate, machine mm", 2, empty=FILE)

_LIES: Final = (NEAR, TURNED, OFF)
THINGS: Final = (
    Thing("corner", "an outside corner", "the job's place and rotation", ("corner",), (*_LIES, AT)),
    Thing("pocket", "an inside corner", "the job's place and rotation", ("corner", "--inside"), (*_LIES, AT)),
    Thing("bore", "a bore", "its middle and size; two place the job", ("bore",), (*_LIES, MIDDLE, DIAMETER)),
    Thing(
        "boss",
        "a boss",
        "its middle and size; two place the job",
        ("boss",),
        (*_LIES, MIDDLE, DIAMETER, HEIGHT),
    ),
    Thing("edge-x", "an edge along x", "the job's rotation", ("edge", "--along", "x"), (*_LIES, AT)),
    Thing("edge-y", "an edge along y", "the job's rotation", ("edge", "--along", "y"), (*_LIES, AT)),
    Thing("plane", "the face alone", "its height, slope and flatness", ("plane",), _LIES),
    Thing(
        "reference",
        "the reference plate",
        "its middle, height and level, for the machine file",
        ("reference",),
        (PLATE, TIP),
    ),
    Thing("rod", "the rod's stand", "its lean against the feed; with a spindle its run-out", ("rod",), (*_LIES, AT)),
)
# What is kept of a plate, and so may be forgotten.
PLACES_THE_JOB: Final = frozenset({"corner", "pocket", "bore", "boss", "edge-x", "edge-y"})


def thing_of(key: str) -> Thing:
    """The thing of a key. KeyError when there is none."""
    return {thing.key: thing for thing in THINGS}[key]


def arguments(thing: Thing, said: Said, *, anew: bool) -> list[str]:
    """What follows `gapwright locate` to find a thing; empty fields are left to the files.

    Args:
        thing: What is to be found.
        said: What stands in the fields, by the keys of their figures.
        anew: The plate was clamped anew; told where it matters only.

    Raises:
        FieldError: A figure is missing, is none, or is half of two.
    """
    words = list(thing.command)
    for field in thing.fields:
        words += _option(field, [said.get(key, "").strip() for key in field.keys])
    if anew and thing.key in PLACES_THE_JOB:
        words.append("--new")
    return words


def _option(field: Field, told: list[str]) -> list[str]:
    if not any(told):
        if not field.empty:
            raise FieldError(field.keys[0], f"“{field.label}” is missing")
        return []
    for key, word in zip(field.keys, told, strict=True):
        _check(field, key, word)
    return [field.option, *(word.replace(",", ".") for word in told)]


def _check(field: Field, key: str, word: str) -> None:
    try:
        figure = float(word.replace(",", "."))
    except ValueError:
        figure = float("nan")
    if not isfinite(figure):
        raise FieldError(key, f"“{field.label}”: {word or 'nothing'} is no number")
    if field.above_zero and figure <= 0.0:
        raise FieldError(key, f"“{field.label}” must be more than 0")
