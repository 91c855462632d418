"""The picture of a plan: holes, the order in which they are drilled, where the plate is touched."""

from __future__ import annotations

from pathlib import Path

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PatchCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from controller.plan.frame import Frame
from controller.plan.plan import Plan
from controller.settings.job import Job
from controller.settings.machine import Machine

# Dots an inch of a bitmap, and the picture's longer side (inches): chosen so that the numbers of some hundred holes can
# be read on a screen.
DPI, SIDE_IN = 150, 9.0
# Most holes that get their number: chosen so that numbers never run into each other on a picture of that size.
MOST_NUMBERS = 500


def draw_plan(path: Path, job: Job, machine: Machine, plan: Plan) -> None:
    """Draw a plan in the job's own frame; the ending of the path chooses the format.

    Raises:
        OSError: The file can't be written.
    """
    frame = Frame.of(machine.work_place)
    places = [frame.to_job((hole.x_mm, hole.y_mm)) for hole in plan.holes]
    touches = [frame.to_job(point) for point in plan.touch_points_mm]
    figure = Figure(figsize=_size([*places, *touches]), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot(aspect="equal")
    xs, ys = zip(*places, strict=True)
    axes.plot(xs, ys, color="#9ecae1", linewidth=1.0, zorder=1, label="order")
    circles = PatchCollection(
        [Circle(place, job.holes.diameter_mm / 2) for place in places], facecolor="#08519c", zorder=2
    )
    axes.add_collection(circles)
    axes.plot(
        xs[0], ys[0], marker="o", markersize=9, color="none", markeredgecolor="#b35806", zorder=3, label="first hole"
    )
    axes.plot(*zip(*touches, strict=True), "x", color="#b35806", zorder=3, label="touched to find the face")
    if len(places) <= MOST_NUMBERS:
        for hole, (x, y) in zip(plan.holes, places, strict=True):
            axes.annotate(
                f"{hole.index}", (x, y), (0, 4), textcoords="offset points", fontsize=5, ha="center", color="#57606a"
            )
    axes.set(
        xlabel="x, mm", ylabel="y, mm", title=f"{job.job.name}: {len(places)} holes of {job.holes.diameter_mm:g} mm"
    )
    axes.margins(0.04)
    figure.legend(loc="outside lower center", ncols=3, frameon=False)
    # Without a date the same plan gives the same file.
    dateless = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(path.suffix)
    figure.savefig(path, dpi=DPI, metadata=dateless)


def _size(points: list[tuple[float, float]]) -> tuple[float, float]:
    """Width and height in inches, in the proportion of the points but never a mere strip."""
    across = max(x for x, _ in points) - min(x for x, _ in points)
    up = max(y for _, y in points) - min(y for _, y in points)
    longest = max(across, up, 1e-9)
    return max(SIDE_IN * across / longest, SIDE_IN / 3), max(SIDE_IN * up / longest, SIDE_IN / 3) + 0.8
