"""What a drilling program says of holes, and where its reading ends."""

from __future__ import annotations

import pytest

from controller.drawings.drawing import DrawingError
from controller.drawings.drill_cycles import read_drill_cycles

PROGRAM = """%
(flow straightener)
N10 G21 G90 G17
N20 M3 S1000
G0 X0 Y0 Z10
G99 G83 X5 Y5 Z-3 R1 Q0.5 F40
X11
Y11 ; the corner
G91 X-6 L2
G80 G90
G0 X0 Y0
M30
%
"""


def places(text: str, unit: str | None = None) -> list[tuple[float, float]]:
    return [(hole.x_mm, hole.y_mm) for hole in read_drill_cycles(text, "plate.ngc", unit).holes]


def refusal(text: str, unit: str | None = None) -> str:
    with pytest.raises(DrawingError) as refused:
        read_drill_cycles(text, "plate.ngc", unit)
    return str(refused.value)


def test_places_are_followed_through_modes_repeats_and_comments() -> None:
    with pytest.raises(DrawingError, match="line 9: R"):
        # In G91 the sticky R and Z count from where the tool stands, so they must be given anew.
        places(PROGRAM.replace("X-6 L2", "X-6 Z1 L2"))
    program = PROGRAM.replace("X-6 L2", "X-6 Z-3 R0 L2")
    assert places(program) == [(5, 5), (11, 5), (11, 11), (5, 11), (-1, 11)]


def test_inches_become_millimetres() -> None:
    assert places("G20 G90 G81 X1 Y0.5 Z-0.1 R0.1") == [pytest.approx((25.4, 12.7))]
    assert places("G90 G81 X1 Y0.5 Z-0.1 R0.1", "inch") == [pytest.approx((25.4, 12.7))]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("G90 G81 X1 Y1 Z-1 R1", "neither G20"),
        ("G21 G0 X1", "no drill cycle"),
        ("G21 G92 X0 Y0\nG81 X1 Y1 Z-1 R1", "line 1: G92 is not read here"),
        ("G21 G81 X[1+2] Y1 Z-1 R1", "can't read 'X\\[1"),
        ("G21 O100 call", "O words"),
        ("G21 X5 Y5", "without a motion"),
        ("G21 G53 G0 X5", "G53"),
    ],
)
def test_what_could_move_places_unseen_is_refused_with_its_line(text: str, words: str) -> None:
    with pytest.raises(DrawingError, match=words):
        read_drill_cycles(text, "plate.ngc")


def test_what_was_skipped_is_told() -> None:
    drawing = read_drill_cycles("/G0 X1\nG21 G54 M3 S100\nG81 X1 Y1 Z-1 R1", "plate.ngc")
    assert "1 × lines with a block delete (/)" in drawing.left
    assert "1 × G54" in drawing.left
    assert drawing.took[0] == "1 drill cycles in mm"
