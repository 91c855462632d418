"""`gapwright job-from`: a job file made of a drawing, a table, or a drilling program."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from controller.drawings.drawing import MM_PER_UNIT, Drawing, DrawingError
from controller.drawings.drill_cycles import read_drill_cycles
from controller.drawings.gathered import Gathered, gather, touch_points
from controller.drawings.job_text import job_text
from controller.drawings.table import read_table
from controller.record.files import write_whole
from controller.screen import AsJson, BadUsage, out
from controller.settings.find import packaged_configs
from controller.settings.job import Job, Point
from controller.settings.load import load_job, load_text, resolve

TABLES = (".csv", ".tsv", ".txt")
PROGRAMS = (".ngc", ".nc", ".gcode", ".tap", ".cnc")
# How far beyond the outermost hole centres a plate is taken to go on when its edges aren't known, in hole diameters
# (edge distance of holes in sheet: common practice, no source).
EDGE_DIAMETERS = 1.5
# A drawn diameter is a whole number of micrometres or of ten-thousandths of an inch; the rest is rounding.
DIAMETER_DECIMALS = 4


@dataclass(slots=True, frozen=True)
class Wishes:
    """What the person asked for beside the file."""

    unit: str | None
    layers: tuple[str, ...]
    touch_layer: str | None
    outline_layer: str | None
    diameter_mm: float | None
    zero_mm: Point


def job_from(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="DXF drawing, CSV table, or G-code with drill cycles (.ngc, .nc).")
    ],
    like: Annotated[
        str, typer.Option("--like", metavar="JOB", help="Job to take plate, electrode, tolerance and technology from.")
    ],
    to: Annotated[
        Path | None,
        typer.Option(
            "--to", metavar="NEW", help="The job file to write; never over another.", show_default="<FILE>.toml"
        ),
    ] = None,
    unit: Annotated[str | None, typer.Option("--unit", help="Unit of a file that names none: mm, inch, cm, m.")] = None,
    layer: Annotated[
        list[str] | None, typer.Option("--layer", help="DXF layer to take holes from; repeat for several.")
    ] = None,
    touch_layer: Annotated[
        str | None, typer.Option("--touch-layer", help="DXF layer whose points are where the face is touched.")
    ] = None,
    outline_layer: Annotated[
        str | None, typer.Option("--outline-layer", help="DXF layer whose closed polyline is the edge of the plate.")
    ] = None,
    plate: Annotated[
        str | None, typer.Option("--plate", metavar="NAME", help="Plan it on this plate, as `locate` finds it.")
    ] = None,
    diameter: Annotated[
        float | None, typer.Option("--diameter", metavar="MM", help="Which holes, or what size points are.")
    ] = None,
    zero: Annotated[
        tuple[float, float], typer.Option("--zero", metavar="X Y", help="Place of the drawing, mm, that becomes 0, 0.")
    ] = (0.0, 0.0),
    thickness: Annotated[
        float | None, typer.Option("--thickness", metavar="MM", help="The plate's, where it isn't the other job's.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a job of a drawing: say what was taken from it and what was left, and write a job file to go on editing."""
    target = to or Path(f"{_job_name(file)}.toml")
    if target.exists():
        raise BadUsage(f"{target}: is there already and is never written over; name another with --to")
    if unit is not None and unit not in MM_PER_UNIT:
        raise BadUsage(f"--unit {unit}: must be {', '.join(MM_PER_UNIT)}")
    wishes = Wishes(unit, tuple(layer or ()), touch_layer, outline_layer, diameter, zero)
    pattern_of = load_job(resolve(like, kind="jobs"))
    drawing = _read(_found(file), wishes)
    gathered = gather(drawing, str(file), wishes.diameter_mm, wishes.zero_mm)
    job, notes = _job(pattern_of, like, target, drawing, gathered, wishes, thickness, plate)
    text = job_text(job, [f"Made from {file.name}; check every figure, then `gapwright plan {target}`."], notes)
    # What is written must be readable: the same gates as for a file that a person wrote.
    load_text(text, str(target), Job)
    write_whole(target, text)
    left = [*drawing.left, *gathered.left]
    if as_json:
        told = {
            "job": str(target),
            "holes": len(gathered.places_mm),
            "diameter_mm": job.holes.diameter_mm,
            "read": list(drawing.took),
            "left": left,
            "overlaps": list(gathered.overlaps),
            "taken_over": notes,
        }
        out.print(json.dumps(told, indent=2, ensure_ascii=False), markup=False, highlight=False, soft_wrap=True)
        return
    _tell(target, job, drawing, gathered, left, notes)


def _job_name(file: Path) -> str:
    """A job's name from a file's: only what a name may hold."""
    return re.sub(r"[^A-Za-z0-9_-]+", "-", file.stem).strip("-_") or "drawing"


def _found(file: Path) -> Path:
    """The file itself, or the shipped drawing of that name."""
    shipped = packaged_configs() / "drawings" / file.name
    return shipped if not file.exists() and file.name == str(file) and shipped.is_file() else file


def _read(file: Path, wishes: Wishes) -> Drawing:
    """The holes of a file, read by its ending."""
    ending = file.suffix.lower()
    if ending not in (".dxf", *TABLES, *PROGRAMS):
        raise BadUsage(f"{file}: must end in .dxf, {', '.join(TABLES)} or {', '.join(PROGRAMS)}")
    if ending != ".dxf" and (wishes.layers or wishes.touch_layer or wishes.outline_layer):
        raise BadUsage(f"{file}: only a DXF drawing has layers; leave --layer, --touch-layer and --outline-layer out")
    if not file.is_file():
        raise BadUsage(f"{file}: there is no such file")
    if ending == ".dxf":
        from controller.drawings.dxf import read_dxf  # noqa: PLC0415 (half a second for every other command)

        return read_dxf(file, wishes.unit, wishes.layers, wishes.touch_layer, wishes.outline_layer)
    try:
        content = file.read_bytes()
    except OSError as error:
        raise BadUsage(f"{file}: can't be read: {error.strerror}") from error
    if ending in TABLES:
        return read_table(content, str(file), wishes.unit)
    return read_drill_cycles(content.decode("utf-8", errors="replace"), str(file), wishes.unit)


def _job(
    like: Job,
    name: str,
    target: Path,
    drawing: Drawing,
    gathered: Gathered,
    wishes: Wishes,
    thickness: float | None,
    plate: str | None,
) -> tuple[Job, dict[str, str]]:
    """The job, and for every entry that no drawing says where it comes from."""
    told = raw = like.model_dump()
    size = gathered.diameter_mm or wishes.diameter_mm
    if thickness is not None and not thickness > 0:
        raise BadUsage(f"--thickness {thickness:g}: must be more than 0, in mm")
    raw["job"]["name"] = _job_name(target)
    raw["job"]["first_article"] = False
    x0, y0 = wishes.zero_mm
    outline = [(x - x0, y - y0) for x, y in drawing.outline_mm]
    raw["work"] |= {"outline_mm": outline, "keep_out": (), "plate": plate}  # the other job's are those of another plate
    if thickness is not None:
        raw["work"]["thickness_mm"] = thickness
    if size is not None:
        raw["holes"]["diameter_mm"] = round(size, DIAMETER_DECIMALS)
    raw["holes"]["pattern"] = [{"kind": "list", "at_mm": list(gathered.places_mm)}]
    notes = {
        f"{section}.{key}": f"from {name}: check"
        for section in ("work", "electrode", "holes")
        for key in told[section]
        if key
        not in (
            "pattern",
            "touch_points_mm",
            "through",
            "apart_mm",
            "outline_mm",
            "keep_out",
            "plate",
            "plate_max_age_h",
        )
    }
    notes["job.technology"] = f"from {name}: check"
    if thickness is not None:
        notes.pop("work.thickness_mm")
    if size is not None:
        notes.pop("holes.diameter_mm")
    raw["work"]["touch_points_mm"] = _touches(raw, drawing, gathered, wishes)
    if not drawing.touch_points_mm:
        notes["work.touch_points_mm"] = "chosen here, clear of the holes: is there metal?"
    return Job.model_validate(raw), notes


def _touches(raw: dict[str, Any], drawing: Drawing, gathered: Gathered, wishes: Wishes) -> list[Point]:
    if drawing.touch_points_mm:
        return [(x - wishes.zero_mm[0], y - wishes.zero_mm[1]) for x, y in drawing.touch_points_mm]
    hole, rod = raw["holes"]["diameter_mm"], raw["electrode"]["diameter_mm"]
    chosen = touch_points(gathered.places_mm, (hole + rod) / 2.0 + 0.1, EDGE_DIAMETERS * hole)
    if not chosen:
        raise DrawingError(
            ["the holes leave no room to touch the face between them; draw three points and name them by --touch-layer"]
        )
    return list(chosen)


def _tell(target: Path, job: Job, drawing: Drawing, gathered: Gathered, left: list[str], notes: dict[str, str]) -> None:
    count = len(gathered.places_mm)
    lines = [f"Read: {told}." for told in drawing.took]
    lines += [f"Left: {told}." for told in left] or ["Left: nothing."]
    lines += [f"Overlap: {told}." for told in gathered.overlaps]
    xs, ys = zip(*gathered.places_mm, strict=True)
    lines.append(
        f"Took: {count} hole{'s' if count != 1 else ''} of {job.holes.diameter_mm:g} ± {job.holes.tolerance_mm:g} "
        f"mm, x {min(xs):g} to {max(xs):g}, y {min(ys):g} to {max(ys):g} mm, into {target}."
    )
    checked = ", ".join(key for key, note in notes.items() if note.endswith("check"))
    lines.append(f"The drawing doesn't say these, so they were taken over; check each: {checked}.")
    if not drawing.touch_points_mm:
        where = ", ".join(f"({x:g}, {y:g})" for x, y in job.work.touch_points_mm)
        lines.append(f"The face will be touched at {where}: is there metal at each?")
    if gathered.overlaps:
        lines.append("`gapwright plan` refuses the job until the overlapping holes are taken out of the file.")
    lines.append(f"Next: gapwright plan {target}")
    for line in lines:
        out.print(line, markup=False, highlight=False, soft_wrap=True)
