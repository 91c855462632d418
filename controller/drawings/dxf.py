"""Holes from a DXF drawing: circles and points of model space, by layer, blocks opened, units honoured.

A circle is a hole of its diameter, a point a hole whose diameter the drawing doesn't say. Blocks are opened as deep as
they go, with their scale and turn; a circle that a block stretches to an ellipse is no round hole and is left. Layers
that are frozen or switched off are left, as a person would who looks at the screen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from ezdxf import recover
from ezdxf.disassemble import recursive_decompose
from ezdxf.document import Drawing as Document
from ezdxf.entities.circle import Circle
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.point import Point as PointEntity
from ezdxf.enums import InsertUnits
from ezdxf.filemanagement import readfile
from ezdxf.lldxf.const import DXFError

from controller.drawings.drawing import MM_PER_UNIT, Drawing, DrawingError, DrawnHole

# $INSUNITS codes of the DXF reference that a workshop drawing may carry.
UNIT_OF_CODE: Final = {
    int(InsertUnits.Inches): "inch",
    int(InsertUnits.Millimeters): "mm",
    int(InsertUnits.Centimeters): "cm",
    int(InsertUnits.Meters): "m",
    int(InsertUnits.Microns): "µm",
}
# Tilt of a circle's normal against z beyond which it is no hole from above: rounding of drawing programs. Chosen.
UPRIGHT: Final = 1e-6

# x, y in mm and the diameter in mm where the entity has one.
Found = tuple[float, float, float | None]


def read_dxf(
    path: Path,
    unit: str | None = None,
    layers: Sequence[str] = (),
    touch_layer: str | None = None,
    outline_layer: str | None = None,
) -> Drawing:
    """The holes of a drawing.

    Args:
        path: The file, text or binary DXF.
        unit: The drawing's unit where it states none.
        layers: Layers to take holes from; all when empty.
        touch_layer: Layer whose points (or circles' centres) are where the face is touched.
        outline_layer: Layer whose one closed polyline of straight sides is the edge of the plate.

    Raises:
        DrawingError: No DXF, no unit, an unknown layer, or nothing that could be a hole.
    """
    document, mended = _document(path)
    spoken = _unit(document, path, unit)
    _refuse_unknown(document, path, [*layers, *(layer for layer in (touch_layer, outline_layer) if layer)])
    wanted = {layer.casefold() for layer in layers}
    holes: list[DrawnHole] = []
    touches: list[tuple[float, float]] = []
    outline = _outline(document, path, outline_layer, MM_PER_UNIT[spoken]) if outline_layer else ()
    left: Counter[str] = Counter()
    for entity in recursive_decompose(document.modelspace()):
        layer = str(entity.dxf.get("layer", "0"))
        found = _found(entity, MM_PER_UNIT[spoken])
        if touch_layer is not None and layer.casefold() == touch_layer.casefold():
            touches += [found[:2]] if found else []
        elif outline_layer is not None and layer.casefold() == outline_layer.casefold():
            continue
        elif not _visible(document, layer):
            left[f"{entity.dxftype()} on layer {layer}, which is off or frozen"] += 1
        elif wanted and layer.casefold() not in wanted:
            left[f"{entity.dxftype()} on layer {layer}, not asked for"] += 1
        elif found is None:
            left[f"{entity.dxftype()} on layer {layer}, {_why_not(entity)}"] += 1
        else:
            holes.append(DrawnHole(*found, f"layer {layer}"))
    told = tuple(f"{count} × {what}" for what, count in sorted(left.items()))
    if not holes:
        has = f"it holds {'; '.join(told)}" if told else "its model space is empty"
        raise DrawingError([f"{path}: there is no circle or point to make a hole of: {has}"])
    return Drawing(tuple(holes), tuple(_took(holes, spoken)), mended + told, tuple(touches), outline)


def _document(path: Path) -> tuple[Document, tuple[str, ...]]:
    """The drawing, and what had to be mended to read it."""
    try:
        return readfile(path), ()
    except UnicodeDecodeError:
        pass
    except OSError as error:
        raise DrawingError([f"{path}: is no DXF file; save the drawing as DXF R2000 or later"]) from error
    except (DXFError, ValueError, IndexError, KeyError):
        pass
    try:
        document, audit = recover.readfile(path)
    except (DXFError, OSError, ValueError, IndexError, KeyError) as error:
        raise DrawingError([f"{path}: can't be read as DXF ({error}); save it again as DXF R2000 or later"]) from error
    faults = len(audit.errors) + len(audit.fixes)
    return document, (f"{faults} structural mistakes of the file, which is damaged: compare the picture with it",)


def _unit(document: Document, path: Path, given: str | None) -> str:
    """The drawing's unit; what it states wins, and a contradiction is a mistake."""
    code = int(document.units)
    stated = UNIT_OF_CODE.get(code)
    if code and stated is None:
        if given is None:
            raise DrawingError([f"{path}: states unit {code} ($INSUNITS); say with --unit what a drawing unit is"])
        return given
    if stated and given and stated != given:
        raise DrawingError([f"{path}: states {stated} ($INSUNITS), --unit says {given}; leave --unit out"])
    spoken = stated or given
    if spoken is None:
        raise DrawingError([f"{path}: states no unit ($INSUNITS is 0); say with --unit mm or --unit inch what it is"])
    return spoken


def _refuse_unknown(document: Document, path: Path, layers: Sequence[str]) -> None:
    known = {str(layer.dxf.name).casefold() for layer in document.layers}
    used = sorted({str(entity.dxf.get("layer", "0")) for entity in document.modelspace()})
    known |= {layer.casefold() for layer in used}
    unknown = [layer for layer in layers if layer.casefold() not in known]
    if unknown:
        raise DrawingError(
            [f"{path}: has no layer {layer}; its layers in use are {', '.join(used) or 'none'}" for layer in unknown]
        )


def _outline(document: Document, path: Path, layer: str, mm: float) -> tuple[tuple[float, float], ...]:
    """The corners of the one closed polyline of straight sides on a layer; raises DrawingError when it is not there."""
    closed = [
        line
        for line in document.modelspace().query("LWPOLYLINE")
        if isinstance(line, LWPolyline) and str(line.dxf.get("layer", "0")).casefold() == layer.casefold()
    ]
    if len(closed) != 1 or not closed[0].closed or any(bulge for *_, bulge in closed[0].get_points("xyb")):
        words = (
            f"{path}: layer {layer} has {len(closed)} polylines; the edge of the plate must be one closed polyline of "
            f"straight sides: join its lines, or leave --outline-layer out and write work.outline_mm by hand"
        )
        raise DrawingError([words])
    return tuple((x * mm, y * mm) for x, y in closed[0].get_points("xy"))


def _visible(document: Document, layer: str) -> bool:
    if layer not in document.layers:
        return True
    entry = document.layers.get(layer)
    return not (entry.is_frozen() or entry.is_off())


def _found(entity: DXFEntity, mm: float) -> Found | None:
    """A circle seen from above, or a point; None for anything else."""
    if isinstance(entity, PointEntity):
        place = entity.dxf.location
        return (place.x * mm, place.y * mm, None)
    if isinstance(entity, Circle) and entity.dxftype() == "CIRCLE" and entity.dxf.radius > 0 and _upright(entity):
        place = entity.ocs().to_wcs(entity.dxf.center)
        return (place.x * mm, place.y * mm, 2.0 * entity.dxf.radius * mm)
    return None


def _upright(entity: Circle) -> bool:
    return bool(abs(abs(entity.dxf.extrusion.normalize().z) - 1.0) < UPRIGHT)


def _why_not(entity: DXFEntity) -> str:
    if entity.dxftype() == "ELLIPSE":
        return "no round hole"
    if isinstance(entity, Circle) and entity.dxftype() == "CIRCLE":
        return "seen from its edge" if entity.dxf.radius > 0 else "without a radius"
    return "no hole"


def _took(holes: Sequence[DrawnHole], unit: str) -> Iterator[str]:
    counts = Counter((hole.where, hole.diameter_mm is None) for hole in holes)
    for (where, point), count in sorted(counts.items()):
        yield f"{count} {'point' if point else 'circle'}{'s' if count > 1 else ''} of {where}, drawn in {unit}"
