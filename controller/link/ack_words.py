"""The words of an `ack` board that are said once: what must hold, and homing (wires.md: these words and no others)."""

from __future__ import annotations

from controller.link.grid import decimal
from controller.settings.machine import Axes

RENUMBER, STOP, KILL, COUNT, END_STOPS, DRAIN = "M110 N0", "M410", "M112", "M114", "M119", "M400"
# z first: the tip leaves the work before anything goes sideways. One line for each axis, so that the one that does not
# find its switch is known.
HOME_LINES = ("G28 Z0", "G28 X0", "G28 Y0")
# Lines whose command a board may be without: minimum time of a block, under its two names, and soft limits.
DISPENSABLE = ("M205", "M211")
# Motors always on. A board that does not know it can be driven, to check the rest of the machine; no job is run on it.
ALWAYS_ON = "M84 S0"
# The problem that it is then: name, what was found, remedy.
LETS_GO = (
    "idle lock",
    f"the board does not know {ALWAYS_ON}, so it lets its motors go whenever it stands for a while",
    "use firmware built with a motor time-out that can be switched off: positions are lost at every pause",
)


def what_must_hold(axes: Axes) -> tuple[str, ...]:
    """Relative moves; drivers never off; end stops off but for homing; no soft limits, no stretched blocks; limits."""
    acceleration = decimal(max(axes.acceleration_mm_s2), 3)  # the axes' own limits stand below it
    return (
        "G91",
        ALWAYS_ON,
        "M121",
        "M211 S0",
        "M205 Q0",
        "M205 B0",
        f"M201 {axis_words(axes.acceleration_mm_s2)}",
        f"M203 {axis_words(axes.top_speed_mm_s)}",
        f"M204 P{acceleration} T{acceleration}",
    )


def axis_words(figures: tuple[float, float, float]) -> str:
    """`X… Y… Z…` with one figure for each axis."""
    return " ".join(f"{letter}{decimal(figure, 3)}" for letter, figure in zip("XYZ", figures, strict=True))
