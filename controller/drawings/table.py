"""Holes from a table (CSV): a header that names its units, and the habits of spreadsheets put up with.

Put up with: a comma, a semicolon or a tab between columns; a comma as decimal sign where it can't be a separator; a
`sep=` line, a byte order mark, UTF-16 or an old 8-bit encoding; title lines above the header; empty lines and columns;
lines that begin with `#`; columns in any order under usual names. Not put up with: a column without a unit. A figure
that might be inches or millimetres is no figure.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from controller.drawings.drawing import MM_PER_UNIT, Drawing, DrawingError, DrawnHole

NAMES: Final = {
    "x": ("x", "xpos", "posx", "xposition", "xcoordinate", "xcoord"),
    "y": ("y", "ypos", "posy", "yposition", "ycoordinate", "ycoord"),
    "diameter": ("diameter", "dia", "d", "ø", "⌀", "holediameter", "size"),
}
UNITS: Final = {
    "mm": "mm",
    "millimetre": "mm",
    "millimetres": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "cm": "cm",
    "m": "m",
    "in": "inch",
    "inch": "inch",
    "inches": "inch",
    '"': "inch",
    "µm": "µm",
    "μm": "µm",
    "um": "µm",
}
# A heading: a name, then its unit in brackets or after a separator.
HEADING: Final = re.compile(r"^\s*(?P<name>[^\[\]()/,]*?)\s*(?:[\[(/,]\s*(?P<unit>[^\])\s]+)\s*[\])]?)?\s*$")
SEPARATORS: Final = (";", "\t", ",")


@dataclass(slots=True, frozen=True)
class _Column:
    """Where a quantity stands and what its figures are in millimetres."""

    place: int
    mm: float
    unit: str


def read_table(content: bytes, name: str, unit: str | None = None) -> Drawing:
    """The holes of a table.

    Args:
        content: The file's bytes.
        name: What to call the file in messages.
        unit: The unit of columns that name none.

    Raises:
        DrawingError: No header, no unit, a figure that is none; every bad line is named.
    """
    lines = list(_lines(_text(content, name)))
    separator, lines = _separator(lines)
    rows = [
        (number, row)
        for number, line in lines
        for row in csv.reader(io.StringIO(line), delimiter=separator, skipinitialspace=True)
        if any(cell.strip() for cell in row)
    ]
    top, columns, ignored = _header(rows, name, unit)
    holes: list[DrawnHole] = []
    problems: list[str] = []
    for number, row in rows[top + 1 :]:
        try:
            holes.append(_hole(row, columns, f"line {number}"))
        except ValueError as wrong:
            problems.append(f"{name}: line {number}: {wrong}")
    if problems:
        raise DrawingError(problems)
    if not holes:
        raise DrawingError([f"{name}: there is no hole below the header; write one line for each, e.g. 12.5,8,1.5"])
    units = " and ".join(dict.fromkeys(column.unit for column in columns.values()))
    left = [f"{top} line{'s' if top > 1 else ''} above the header"] if top else []
    left += [f"column {quoted!r}" for quoted in ignored]
    return Drawing(tuple(holes), (f"{len(holes)} lines of a table, in {units}",), tuple(left))


def _text(content: bytes, name: str) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise DrawingError([f"{name}: is no text; save the table as CSV (UTF-8)"])


def _lines(text: str) -> list[tuple[int, str]]:
    return [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]


def _separator(lines: list[tuple[int, str]]) -> tuple[str, list[tuple[int, str]]]:
    """What stands between columns, and the lines without the one that says so."""
    if lines and lines[0][1].strip().lower().startswith("sep=") and len(lines[0][1].strip()) == len("sep=;"):
        return lines[0][1].strip()[-1], lines[1:]
    votes = Counter(mark for _, line in lines for mark in SEPARATORS[:2] if mark in line)
    return (votes.most_common(1)[0][0] if votes else ","), lines


def _header(
    rows: Sequence[tuple[int, list[str]]], name: str, unit: str | None
) -> tuple[int, dict[str, _Column], list[str]]:
    """Which row is the header, its columns, and the headings that mean nothing here."""
    for top, (number, row) in enumerate(rows):
        headings = [_heading(cell) for cell in row]
        found = {quantity: place for place, (quantity, _) in enumerate(headings) if quantity in NAMES}
        if "x" in found and "y" in found:
            ignored = [cell.strip() for cell, (quantity, _) in zip(row, headings, strict=True) if quantity not in NAMES]
            columns = {
                quantity: _column(place, row[place], headings[place][1] or unit, f"{name}: line {number}")
                for quantity, place in found.items()
            }
            return top, columns, [each for each in ignored if each]
    raise DrawingError(
        [f"{name}: no header names the columns x and y; write as the first line, e.g. x_mm,y_mm,diameter_mm"]
    )


def _heading(cell: str) -> tuple[str, str | None]:
    """The quantity of a heading (or its own words) and its unit: `X (mm)`, `x_mm`, `Ø [in]`, `diameter`."""
    words = cell.strip().casefold()
    ending = words.rsplit("_", 1) if "_" in words else words.rsplit(" ", 1)
    if len(ending) == 2 and ending[1].strip("[]()") in UNITS:
        name: str = ending[0]
        unit: str | None = ending[1].strip("[]()")
    else:
        form = HEADING.match(words)
        name, unit = (form["name"], form["unit"]) if form else (words, None)
    plain = re.sub(r"[\s_.\-]", "", name)
    quantity = next((quantity for quantity, known in NAMES.items() if plain in known), plain)
    return quantity, unit


def _column(place: int, heading: str, unit: str | None, where: str) -> _Column:
    if unit is None:
        raise DrawingError(
            [f"{where}: the heading {heading.strip()!r} names no unit; write e.g. x_mm or x (inch), or give --unit"]
        )
    known = UNITS.get(unit.casefold(), unit)
    if known not in MM_PER_UNIT:
        raise DrawingError(
            [f"{where}: the heading {heading.strip()!r} has an unknown unit {unit!r}; known: {', '.join(MM_PER_UNIT)}"]
        )
    return _Column(place, MM_PER_UNIT[known], known)


def _hole(row: Sequence[str], columns: dict[str, _Column], where: str) -> DrawnHole:
    x, y = (_figure(row, columns[axis], axis) for axis in ("x", "y"))
    diameter = columns.get("diameter")
    if diameter is None or diameter.place >= len(row) or not row[diameter.place].strip():
        return DrawnHole(x, y, None, where)
    size = _figure(row, diameter, "diameter")
    if size <= 0:
        raise ValueError(f"a diameter must be more than 0, not {row[diameter.place].strip()!r}")
    return DrawnHole(x, y, size, where)


def _figure(row: Sequence[str], column: _Column, axis: str) -> float:
    """The figure of a cell in mm; raises ValueError with what is wrong."""
    cell = row[column.place].strip().strip("'") if column.place < len(row) else ""
    if not cell:
        raise ValueError(f"{axis} is empty; give a number or take the line out")
    plain = cell.replace("\u00a0", "").replace("\u2212", "-").replace(" ", "")
    if "," in plain:
        if "." in plain or plain.count(",") > 1:
            raise ValueError(f"{axis} is {cell!r}: thousands can't be told from decimals; write it without separators")
        plain = plain.replace(",", ".")
    try:
        figure = float(plain)
    except ValueError:
        raise ValueError(f"{axis} is {cell!r}, not a number; give it in {column.unit} without the unit") from None
    if not math.isfinite(figure):
        raise ValueError(f"{axis} is {cell!r}, not a finite number")
    return figure * column.mm
