"""Tables of holes as spreadsheets write them."""

from __future__ import annotations

import pytest

from controller.drawings.drawing import DrawingError
from controller.drawings.table import read_table

WANTED = [(12.5, 8.0, 1.5), (18.5, 8.0, 1.5)]


def holes(text: str, encoding: str = "utf-8", unit: str | None = None) -> list[tuple[float, float, float | None]]:
    drawing = read_table(text.encode(encoding), "holes.csv", unit)
    return [(hole.x_mm, hole.y_mm, hole.diameter_mm) for hole in drawing.holes]


@pytest.mark.parametrize(
    "text",
    [
        "x_mm,y_mm,diameter_mm\n12.5,8,1.5\n18.5,8,1.5\n",
        "X (mm);Y (mm);Ø (mm)\r\n12,5;8;1,5\r\n18,5;8;1,5\r\n",
        "sep=;\nx [mm];y [mm];dia [mm]\n12,5;8;1,5\n18,5;8;1,5\n",
        "Flow straightener\n\n# draft\nNo,Y mm,X mm,Diameter mm,Note,\n1,8,12.5,1.5,ok,\n2,8,18.5,1.5,,\n,,,,,\n",
        "x_µm\ty_µm\td_µm\n12500\t8000\t1500\n18500\t8000\t1500\n",
        '"x_mm","y_mm","diameter_mm"\n"12,5","8","1,5"\n"18,5","8","1,5"\n',
    ],
)
def test_habits_of_spreadsheets_are_put_up_with(text: str) -> None:
    assert holes(text) == [pytest.approx(hole) for hole in WANTED]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings_are_put_up_with(encoding: str) -> None:
    assert holes("x_mm;y_mm;Ø_mm\n12,5;8;1,5\n18,5;8;1,5\n", encoding) == [pytest.approx(hole) for hole in WANTED]


def test_inches_and_a_missing_diameter() -> None:
    assert holes("X (inch),Y (in)\n1,0.5\n") == [(pytest.approx(25.4), pytest.approx(12.7), None)]
    assert holes("x,y\n1,0.5\n", unit="inch") == [(pytest.approx(25.4), pytest.approx(12.7), None)]


def test_what_is_left_is_told() -> None:
    drawing = read_table(b"My plate\nx_mm,y_mm,Remark\n1,2,ok\n", "holes.csv")
    assert drawing.left == ("1 line above the header", "column 'Remark'")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x,y\n1,2\n", "names no unit"),
        ("x_mm,y (furlong)\n1,2\n", "unknown unit 'furlong'"),
        ("1,2\n3,4\n", "no header"),
        ("x_mm,y_mm\n", "no hole below the header"),
        ("x_mm,y_mm\n1,b\n2\n", "line 2: y is 'b', not a number"),
        ("x_mm,y_mm\n1,b\n2\n", "line 3: y is empty"),
        ("x_mm;y_mm\n1.234,5;2\n", "thousands can't be told"),
        ("x_mm,y_mm,d_mm\n1,2,-1\n", "more than 0"),
        ("x_mm,y_mm\ninf,2\n", "not a finite number"),
        ("\0\1\2", "is no text"),
    ],
)
def test_mistakes_are_named_with_their_line(text: str, words: str) -> None:
    with pytest.raises(DrawingError, match=words):
        holes(text)
