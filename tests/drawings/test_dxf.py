"""Holes from DXF drawings made here with the reference library that also reads them (ezdxf)."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, pi, sin
from pathlib import Path

import ezdxf
import pytest
from ezdxf.enums import InsertUnits
from ezdxf.layouts.layout import Modelspace

from controller.drawings.drawing import DrawingError
from controller.drawings.dxf import read_dxf

Draw = Callable[[Modelspace], object]


def drawn(folder: Path, draw: Draw, unit: int = InsertUnits.Millimeters) -> Path:
    document = ezdxf.new("R2010")
    document.units = unit
    draw(document.modelspace())
    path = folder / "plate.dxf"
    document.saveas(path)
    return path


def test_units_of_the_drawing_are_honoured(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda space: space.add_circle((1, 2), 0.03), InsertUnits.Inches)
    (hole,) = read_dxf(path).holes
    assert (hole.x_mm, hole.y_mm, hole.diameter_mm) == pytest.approx((25.4, 50.8, 1.524))


def test_a_drawing_without_a_unit_must_be_told_one(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda space: space.add_point((1, 2)), 0)
    with pytest.raises(DrawingError, match="--unit mm or --unit inch"):
        read_dxf(path)
    (hole,) = read_dxf(path, "cm").holes
    assert (hole.x_mm, hole.y_mm, hole.diameter_mm) == (10.0, 20.0, None)


def test_a_contradicting_unit_is_refused(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda space: space.add_point((1, 2)))
    with pytest.raises(DrawingError, match="states mm"):
        read_dxf(path, "inch")


def test_blocks_are_opened_with_scale_and_turn_and_ellipses_left(tmp_path: Path) -> None:
    def draw(space: Modelspace) -> None:
        block = space.doc.blocks.new("PAIR")
        block.add_circle((4, 0), 0.5)
        nested = space.doc.blocks.new("NESTED")
        nested.add_blockref("PAIR", (1, 0))
        space.add_blockref("NESTED", (10, 10), dxfattribs={"rotation": 30, "xscale": 2, "yscale": 2})
        space.add_blockref("PAIR", (0, 0), dxfattribs={"xscale": 2, "yscale": 1})

    drawing = read_dxf(drawn(tmp_path, draw))
    (hole,) = drawing.holes
    assert hole.place_mm == pytest.approx((10 + 10 * cos(pi / 6), 10 + 10 * sin(pi / 6)))
    assert hole.diameter_mm == pytest.approx(2.0)
    assert drawing.left == ("1 × ELLIPSE on layer 0, no round hole",)


def test_a_circle_seen_from_below_is_mirrored_and_one_on_its_edge_left(tmp_path: Path) -> None:
    def draw(space: Modelspace) -> None:
        space.add_circle((-7, 3), 0.5, dxfattribs={"extrusion": (0, 0, -1)})
        space.add_circle((1, 1), 0.5, dxfattribs={"extrusion": (1, 0, 0)})

    drawing = read_dxf(drawn(tmp_path, draw))
    assert drawing.holes[0].place_mm == pytest.approx((7, 3))
    assert drawing.left == ("1 × CIRCLE on layer 0, seen from its edge",)


def test_layers_are_chosen_and_hidden_ones_left(tmp_path: Path) -> None:
    def draw(space: Modelspace) -> None:
        for layer in ("HOLES", "OTHER", "OFF", "TOUCH"):
            space.doc.layers.add(layer)
            space.add_circle((1, 1), 0.5, dxfattribs={"layer": layer})
        space.doc.layers.get("OFF").off()

    path = drawn(tmp_path, draw)
    drawing = read_dxf(path, layers=["holes"], touch_layer="TOUCH")
    assert [hole.where for hole in drawing.holes] == ["layer HOLES"]
    assert drawing.touch_points_mm == ((1.0, 1.0),)
    assert drawing.left == (
        "1 × CIRCLE on layer OFF, which is off or frozen",
        "1 × CIRCLE on layer OTHER, not asked for",
    )
    with pytest.raises(DrawingError, match="has no layer DRILL; its layers in use are HOLES, OFF, OTHER, TOUCH"):
        read_dxf(path, layers=["DRILL"])


def test_what_is_no_drawing_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "plate.dxf"
    path.write_text("x_mm,y_mm\n1,2\n")
    with pytest.raises(DrawingError, match="no DXF file"):
        read_dxf(path)
    empty = drawn(tmp_path, lambda space: space.add_line((0, 0), (1, 1)))
    with pytest.raises(DrawingError, match="1 × LINE on layer 0, no hole"):
        read_dxf(empty)
