"""The job file: the work, the electrode and the holes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from controller.settings.base import NAME_PATTERN, Settings

Point = tuple[float, float]
Positive = Annotated[float, Field(gt=0)]

LONGEST_ROW = 500
"""Most columns, rows or holes on a circle. Chosen so that a slip of the keyboard doesn't plan a million holes."""


class JobHead(Settings):
    """The job's name, its technology, and whether its holes are a first article to be gauged."""

    name: str = Field(min_length=1, pattern=NAME_PATTERN)
    technology: str = Field(min_length=1)
    first_article: bool = False


class Clamp(Settings):
    """Something that stands on the work: a rectangle (job frame) and how far it stands above the face."""

    name: str = Field("clamp", min_length=1)
    from_mm: Point
    to_mm: Point
    above_mm: float = Field(gt=0)

    @model_validator(mode="after")
    def _has_sides(self) -> Clamp:
        if self.from_mm[0] == self.to_mm[0] or self.from_mm[1] == self.to_mm[1]:
            raise ValueError("from_mm and to_mm must be opposite corners of a rectangle, apart in x and in y")
        return self


class Work(Settings):
    """The plate: material, thickness, the room for over-travel below it, and where its face is touched (job frame).

    `outline_mm` are the corners of its edge in order, where they are known; `keep_out` is what stands on it. `plate`
    names the plate on which `locate` found the frame; without it the machine file's `work_place` is believed. What was
    located longer ago than `plate_max_age_h` is refused: plates and machines move with a day's warmth (chosen).
    """

    material: str = Field(min_length=1)
    thickness_mm: float = Field(gt=0, le=50)
    clear_below_mm: float = Field(gt=0)
    touch_points_mm: list[Point] = Field(min_length=3)
    outline_mm: tuple[Point, ...] = ()
    plate: str | None = Field(None, pattern=NAME_PATTERN)
    plate_max_age_h: float = Field(24.0, gt=0)
    keep_out: tuple[Clamp, ...] = ()


class Electrode(Settings):
    """The rod or tube: `length_mm` is the stock put in, `min_length_mm` the stub that can't be used."""

    material: str = Field(min_length=1)
    diameter_mm: float = Field(gt=0.05, le=10)
    form: Literal["rod", "tube"] = "rod"
    bore_mm: float = Field(0.0, ge=0)
    length_mm: float = Field(gt=0)
    min_length_mm: float = Field(gt=0)


class Rectangular(Settings):
    """Columns by rows at a pitch: one figure, or one for x and one for y."""

    kind: Literal["rectangular"]
    origin_mm: Point
    columns: int = Field(ge=1, le=LONGEST_ROW)
    rows: int = Field(ge=1, le=LONGEST_ROW)
    pitch_mm: Positive | tuple[Positive, Positive]


class Staggered(Settings):
    """Rows moved by half a pitch against each other, at 60°: every neighbour stands one pitch away."""

    kind: Literal["staggered"]
    origin_mm: Point
    columns: int = Field(ge=1, le=LONGEST_ROW)
    rows: int = Field(ge=1, le=LONGEST_ROW)
    pitch_mm: float = Field(gt=0)


class Circle(Settings):
    """Holes evenly spread on a pitch circle."""

    kind: Literal["circle"]
    centre_mm: Point
    radius_mm: float = Field(gt=0)
    count: int = Field(ge=1, le=LONGEST_ROW)
    start_deg: float = 0.0


class Points(Settings):
    """Holes at listed places."""

    kind: Literal["list"]
    at_mm: list[Point] = Field(min_length=1)


Pattern = Annotated[Rectangular | Staggered | Circle | Points, Field(discriminator="kind")]


class Holes(Settings):
    """What every hole shall be, and where they are (job frame).

    `apart_mm` spreads the heat: no hole is drilled nearer than this to the one just drilled, as far as can be.
    """

    diameter_mm: float = Field(gt=0)
    tolerance_mm: float = Field(gt=0)
    through: bool = True
    apart_mm: float = Field(0.0, ge=0)
    pattern: list[Pattern] = Field(min_length=1)


class Job(Settings):
    """One job."""

    job: JobHead
    work: Work
    electrode: Electrode
    holes: Holes
