"""The picture of a plan: holes and their order, what stands in the way, where the plate is touched; and the machine."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PatchCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle

from controller.plan.frame import Frame
from controller.plan.plan import Plan
from controller.settings.job import Job, Point
from controller.settings.machine import Machine

# Dots an inch of a bitmap, and the picture's longer side (inches): chosen so that the numbers of some hundred holes can
# be read on a screen.
DPI, SIDE_IN = 150, 9.0
# Width of the small picture of the whole machine beside it (inches): chosen so that a clamp of 10 mm is still seen.
MACHINE_IN = 4.0
# Most holes that get their number: chosen so that numbers never run into each other on a picture of that size.
MOST_NUMBERS = 500
# Half of the side with which a reference plate is drawn (mm): what it measures is not known, only where it is touched.
PLATE_HALF_MM = 4.0

HOLE, ORDER, MARK, CLAMP, EDGE = "#08519c", "#9ecae1", "#b35806", "#d6604d", "#57606a"


def draw_plan(path: Path, job: Job, machine: Machine, plan: Plan) -> None:
    """Draw a plan: large in the job's own frame, small in the machine's; the ending of the path chooses the format.

    Raises:
        OSError: The file can't be written.
    """
    frame = Frame.of(machine.work_place)
    places = [frame.to_job((hole.x_mm, hole.y_mm)) for hole in plan.holes]
    seen = [*places, *(frame.to_job(point) for point in plan.touch_points_mm), *job.work.outline_mm]
    width, height = _size(seen)
    figure = Figure(figsize=(width + MACHINE_IN, height), layout="constrained")
    FigureCanvasAgg(figure)
    large, small = figure.subplots(1, 2, width_ratios=(width, MACHINE_IN))
    _draw_job(large, job, plan, frame, places)
    _draw_machine(small, job, machine, plan, frame)
    handles, labels = large.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=len(labels), frameon=False)
    # Without a date the same plan gives the same file.
    dateless = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(path.suffix)
    figure.savefig(path, dpi=DPI, metadata=dateless)


def _draw_job(axes: Axes, job: Job, plan: Plan, frame: Frame, places: list[Point]) -> None:
    xs, ys = zip(*_ways(plan, frame), strict=True)
    axes.plot(xs, ys, color=ORDER, linewidth=1.0, zorder=1, label="order")
    circles = [Circle(place, job.holes.diameter_mm / 2) for place in places]
    axes.add_collection(PatchCollection(circles, facecolor=HOLE, zorder=2))
    first = places[0]
    axes.plot(*first, marker="o", markersize=9, color="none", markeredgecolor=MARK, zorder=3, label="first hole")
    touches = [frame.to_job(point) for point in plan.touch_points_mm]
    axes.plot(*zip(*touches, strict=True), "x", color=MARK, zorder=3, label="touched to find the face")
    if job.work.outline_mm:
        axes.add_patch(Polygon(job.work.outline_mm, fill=False, edgecolor=EDGE, label="edge of the plate"))
    axes.autoscale_view()
    axes.margins(0.04)
    axes.autoscale(False)  # what stands far away is seen in the small picture
    for number, obstacle in enumerate(plan.standing):
        corners = [frame.to_job(corner) for corner in obstacle.corners]
        axes.add_patch(Polygon(corners, facecolor=CLAMP, alpha=0.5, label="" if number else "keep-out"))
        x, y = sum(x for x, _ in corners) / 4, sum(y for _, y in corners) / 4
        axes.text(x, y, obstacle.name, fontsize=6, ha="center", va="center", clip_on=True)
    if len(places) <= MOST_NUMBERS:
        for hole, place in zip(plan.holes, places, strict=True):
            axes.annotate(
                f"{hole.index}", place, (0, 4), textcoords="offset points", fontsize=5, ha="center", color=EDGE
            )
    title = (
        f"{job.job.name}: {len(places)} holes of {job.holes.diameter_mm:g} mm, {plan.travel.length_mm:.0f} mm of travel"
    )
    axes.set(xlabel="x of the job, mm", ylabel="y, mm", title=title, aspect="equal")


def _draw_machine(axes: Axes, job: Job, machine: Machine, plan: Plan, frame: Frame) -> None:
    low, high = machine.axes.travel_min_mm, machine.axes.travel_max_mm
    axes.add_patch(Rectangle((low[0], low[1]), high[0] - low[0], high[1] - low[1], fill=False, edgecolor=EDGE))
    axes.plot(*zip(*((hole.x_mm, hole.y_mm) for hole in plan.holes), strict=True), ".", color=HOLE, markersize=2)
    if job.work.outline_mm:
        corners = [frame.to_machine(corner) for corner in job.work.outline_mm]
        axes.add_patch(Polygon(corners, fill=False, edgecolor=EDGE))
    for obstacle in plan.standing:
        axes.add_patch(Polygon(obstacle.corners, facecolor=CLAMP, alpha=0.5))
    plate = machine.reference_plate
    corner = (plate.x_mm - PLATE_HALF_MM, plate.y_mm - PLATE_HALF_MM)
    axes.add_patch(Rectangle(corner, 2 * PLATE_HALF_MM, 2 * PLATE_HALF_MM, facecolor="#c7c7c7", edgecolor=EDGE))
    axes.annotate("reference plate", (plate.x_mm, plate.y_mm + PLATE_HALF_MM), fontsize=6, va="bottom")
    for name, end in (("x", (1.0, 0.0)), ("y", (0.0, 1.0))):
        tip = frame.to_machine((end[0] * _ARROW_MM, end[1] * _ARROW_MM))
        axes.annotate(name, frame.origin_mm, tip, arrowprops={"arrowstyle": "<-", "color": MARK}, fontsize=7)
    axes.autoscale_view()
    axes.margins(0.03)
    axes.set(xlabel="x of the machine, mm", title="travel of the machine", aspect="equal")


# Length of the job's axes in the small picture (mm). Chosen: a tenth of a small machine's travel.
_ARROW_MM = 20.0


def _ways(plan: Plan, frame: Frame) -> list[Point]:
    """The way from hole to hole, around what is gone around."""
    holes = [(hole.x_mm, hole.y_mm) for hole in plan.holes]
    way = [holes[0]]
    for a, b in pairwise(holes):
        way += [leg.to for leg in plan.ways.legs(a, b)] if plan.ways else [b]
    return [frame.to_job(point) for point in way]


def _size(points: list[Point]) -> tuple[float, float]:
    """Width and height in inches, in the proportion of the points but never a mere strip."""
    across = max(x for x, _ in points) - min(x for x, _ in points)
    up = max(y for _, y in points) - min(y for _, y in points)
    longest = max(across, up, 1e-9)
    return max(SIDE_IN * across / longest, SIDE_IN / 3), max(SIDE_IN * up / longest, SIDE_IN / 3) + 0.8
