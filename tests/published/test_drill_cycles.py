"""Drill cycles against the worked examples of RS274/NGC (NISTIR 6556, Kramer, Proctor & Messina 2000, 3.5.16)."""

from __future__ import annotations

import pytest

from controller.drawings.drill_cycles import Motion, Reader


def run(*lines: str) -> list[Motion]:
    """The motions of a program that begins at (1, 2, 3), as the examples do."""
    reader = Reader(place=(1.0, 2.0, 3.0), unit="mm")
    for number, line in enumerate(lines, 1):
        reader.read(line, number)
    return [Motion(motion.kind, tuple(round(part, 9) for part in motion.to)) for motion in reader.motions]


def test_example_1_absolute() -> None:
    assert run("G90 G81 G98 X4 Y5 Z1.5 R2.8") == [
        Motion("rapid", (4, 5, 3)),
        Motion("rapid", (4, 5, 2.8)),
        Motion("feed", (4, 5, 1.5)),
        Motion("rapid", (4, 5, 3)),
    ]


def test_example_2_incremental_with_three_repeats() -> None:
    holes = [
        motion
        for x, y in ((5, 7), (9, 12), (13, 17))
        for motion in (Motion("rapid", (x, y, 4.8)), Motion("feed", (x, y, 4.2)), Motion("rapid", (x, y, 4.8)))
    ]
    assert run("G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3") == [Motion("rapid", (1, 2, 4.8)), *holes]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("G81 G98 R2.8", "no X, Y or Z"),
        ("G81 X4 Y5 Z1.5 R1.2", "lies below Z"),
        ("G81 X4 Y5 R2.8", "needs Z"),
        ("G83 X4 Y5 Z1.5 R2.8 Q0", "Q must be more than 0"),
        ("G81 X4 Y5 Z1.5 R2.8 L1.5", "positive whole number"),
        ("G81 X4 Y5 Z1.5 R2.8 L0", "positive whole number"),
    ],
)
def test_errors_of_the_standard_are_errors(line: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        run(line)
