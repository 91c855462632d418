"""Micrometres, whole motor steps, and the decimal millimetres of a line: three measures of the same place.

A board that is told relative millimetres adds them up and rounds the sum to steps. So what is told must add up as well:
every distance is the difference of two *rounded* places, and no error accumulates however many lines are sent.
"""

from __future__ import annotations

from math import floor

from controller.settings.units import UM_PER_MM

Steps = tuple[int, int, int]
NOWHERE: Steps = (0, 0, 0)

# Decimals of a millimetre in a line: 6 print the 0.0003125 mm of a step at 3200 steps/mm to a five-hundredth of a step.
# Chosen so.
MM_DECIMALS = 6
NM_PER_MM = 1_000_000
# A target that stands halfway between two steps up to the noise of its own arithmetic always goes the same way.
# Chosen: a thousandth of a step is far above the noise of doubles and far below anything that matters.
HALFWAY = 0.501


def add(a: Steps, b: Steps) -> Steps:
    """The sum, axis by axis."""
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def subtract(a: Steps, b: Steps) -> Steps:
    """The difference, axis by axis."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def share(steps: Steps, part: int, of: int) -> Steps:
    """`part`/`of` of a distance in whole steps; the shares of all parts add up to the whole.

    Cut at floor(n·part/of) of the size, so that every part has at least floor(n/of) steps.
    """
    return _share(steps[0], part, of), _share(steps[1], part, of), _share(steps[2], part, of)


def _share(steps: int, part: int, of: int) -> int:
    size = abs(steps) * part // of
    return size if steps >= 0 else -size


def longest(steps: Steps) -> int:
    """Steps of the axis that has most of them: what a board counts a move by."""
    return max(abs(steps[0]), abs(steps[1]), abs(steps[2]))


class StepGrid:
    """The grid of whole steps on three axes."""

    __slots__ = ("_per_mm", "_um_per_step")

    def __init__(self, steps_per_mm: tuple[float, float, float]) -> None:
        self._per_mm = steps_per_mm
        x, y, z = steps_per_mm
        self._um_per_step = (UM_PER_MM / x, UM_PER_MM / y, UM_PER_MM / z)

    def steps(self, x_um: float, y_um: float, z_um: float) -> Steps:
        """The nearest whole steps to a place (µm)."""
        x, y, z = self._um_per_step
        return floor(x_um / x + HALFWAY), floor(y_um / y + HALFWAY), floor(z_um / z + HALFWAY)

    def from_mm(self, mm: tuple[float, float, float]) -> Steps:
        """The nearest whole steps to a place (mm)."""
        return self.steps(mm[0] * UM_PER_MM, mm[1] * UM_PER_MM, mm[2] * UM_PER_MM)

    def um(self, steps: Steps) -> tuple[float, float, float]:
        """The place (µm) of whole steps."""
        x, y, z = self._um_per_step
        return steps[0] * x, steps[1] * y, steps[2] * z

    def mm(self, steps: Steps) -> tuple[float, float, float]:
        """The place (mm) of whole steps."""
        x, y, z = self._per_mm
        return steps[0] / x, steps[1] / y, steps[2] / z

    def steps_in(self, axis: int, mm: float) -> float:
        """How many steps a distance on an axis is."""
        return mm * self._per_mm[axis]

    def way_um(self, steps: Steps) -> tuple[float, float, float]:
        """The distance (µm) on each axis, without sign."""
        x, y, z = self._um_per_step
        return abs(steps[0]) * x, abs(steps[1]) * y, abs(steps[2]) * z

    def unsure_steps(self, axis: int, decimals_mm: float) -> float:
        """How many steps a place printed with a last digit of `decimals_mm` may be off a whole step it means."""
        return 0.5 + 0.5 * decimals_mm * self._per_mm[axis]

    def words(self, start: Steps, end: Steps) -> str:
        """The axis words of a relative line from one place to another: `X1.25 Z-0.0025`; only axes that move."""
        words = []
        for letter, begin, finish, per_mm in zip("XYZ", start, end, self._per_mm, strict=True):
            if begin != finish:
                nm = round(finish * NM_PER_MM / per_mm) - round(begin * NM_PER_MM / per_mm)
                words.append(letter + decimal(nm / NM_PER_MM, MM_DECIMALS))
        return " ".join(words)


def decimal(number: float, decimals: int) -> str:
    """A number with at most so many decimals: no exponent, no needless zeros."""
    return f"{number:.{decimals}f}".rstrip("0").rstrip(".")
