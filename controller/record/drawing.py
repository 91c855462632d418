"""Small charts as plain figures for the report's SVG templates: axes with round ticks, and marks in drawing units.

Kept here rather than with a plotting library because every mark of the report carries a hover text, stays text in
the file, and has to be quick and small at thousands of holes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

# Drawing units of one chart and its margins (left, right, top, bottom): chosen so that 12-unit lettering is still
# readable when a chart is squeezed to the width of a telephone and two stand side by side on a desk screen.
WIDTH, HEIGHT = 480.0, 240.0
LEFT, RIGHT, TOP, BOTTOM = 50.0, 18.0, 22.0, 36.0

# Most marks of one chart that have a hover text of their own. Chosen: a thousand holes, two marks each, and some more;
# the map has the figures of every hole in any case.
MOST_MARKS = 2500


@dataclass(slots=True, frozen=True)
class Axis:
    """A straight axis: physical range, the drawing units it maps to, and what stands beside it."""

    low: float
    high: float
    start: float
    end: float
    title: str

    def at(self, quantity: float) -> float:
        """Drawing unit of a physical quantity, held inside the axis."""
        share = (quantity - self.low) / (self.high - self.low)
        return round(self.start + min(1.0, max(0.0, share)) * (self.end - self.start), 1)

    @property
    def ticks(self) -> list[tuple[float, str]]:
        """Places and labels of round ticks."""
        return [(self.at(tick), label) for tick, label in round_ticks(self.low, self.high)]


@dataclass(slots=True, frozen=True)
class Mark:
    """One mark: its style (a CSS class), its path in drawing units and its hover text (may be empty)."""

    style: str
    path: str
    title: str = ""


@dataclass(slots=True, frozen=True)
class Chart:
    """One chart: heading, what it shows, axes, marks in drawing order, and a legend of (style, words)."""

    heading: str
    caption: str
    x: Axis
    y: Axis
    marks: list[Mark] = field(default_factory=list)
    legend: list[tuple[str, str]] = field(default_factory=list)
    width: float = WIDTH
    height: float = HEIGHT

    @property
    def drawn(self) -> list[Mark]:
        """The marks; of too many, those of one style as a single one without hover texts: a page must open quickly."""
        if len(self.marks) <= MOST_MARKS:
            return self.marks
        paths: dict[str, list[str]] = {}
        for mark in self.marks:
            paths.setdefault(mark.style, []).append(mark.path)
        return [Mark(style, "".join(each)) for style, each in paths.items()]

    def line(self, style: str, points: Iterable[tuple[float, float]], title: str = "") -> None:
        """Add a line through physical points."""
        drawn = "L".join(f"{self.x.at(x)} {self.y.at(y)}" for x, y in points)
        if drawn:
            self.marks.append(Mark(style, f"M{drawn}", title))

    def band(self, style: str, low: Sequence[tuple[float, float]], high: Sequence[tuple[float, float]]) -> None:
        """Add the area between two lines of physical points."""
        drawn = "L".join(f"{self.x.at(x)} {self.y.at(y)}" for x, y in [*low, *reversed(high)])
        if drawn:
            self.marks.append(Mark(style, f"M{drawn}Z"))

    def dot(self, style: str, x: float, y: float, title: str = "") -> None:
        """Add a dot: a line of no length with round ends, the shortest way to write one."""
        self.marks.append(Mark(style, f"M{self.x.at(x)} {self.y.at(y)}h0", title))

    def whisker(self, style: str, x: float, low: float, high: float, title: str = "") -> None:
        """Add an upright line from `low` to `high`."""
        self.marks.append(Mark(style, f"M{self.x.at(x)} {self.y.at(low)}V{self.y.at(high)}", title))

    def bar(self, style: str, x: tuple[float, float], y: tuple[float, float], title: str = "") -> None:
        """Add a filled rectangle."""
        left, right, low, high = self.x.at(x[0]), self.x.at(x[1]), self.y.at(y[0]), self.y.at(y[1])
        self.marks.append(Mark(style, f"M{left} {low}V{high}H{right}V{low}Z", title))


def chart(
    heading: str, caption: str, x: tuple[float, float, str], y: tuple[float, float, str], legend: list[tuple[str, str]]
) -> Chart:
    """An empty chart; `x` and `y` are (low, high, title), widened a little when they have no width."""
    return Chart(
        heading,
        caption,
        _axis(x, LEFT, WIDTH - RIGHT),
        _axis(y, HEIGHT - BOTTOM, TOP),
        legend=legend,
    )


def _axis(reach: tuple[float, float, str], start: float, end: float) -> Axis:
    low, high, title = reach
    return Axis(low, high if high > low else low + 1.0, start, end, title)


def round_ticks(low: float, high: float, most: int = 6) -> list[tuple[float, str]]:
    """At most `most` + 1 ticks at multiples of 1, 2 or 5 × 10ⁿ within [low, high], with labels of equal precision."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= rough * (1 - 1e-9))
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [
        (number * step, f"{number * step:.{decimals}f}".replace("-", "\u2212")) for number in range(first, last + 1)
    ]


def padded(quantities: Iterable[float], share: float = 0.06) -> tuple[float, float]:
    """The range of some quantities, widened by a share at both ends; (0, 1) when there are none."""
    held = list(quantities)
    if not held:
        return 0.0, 1.0
    low, high = min(held), max(held)
    extra = (high - low) * share or abs(high) * share or 1.0
    return low - extra, high + extra
