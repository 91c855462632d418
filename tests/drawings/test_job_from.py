"""The command: what it says of a drawing, what it writes, and what it never writes over."""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import pytest
from ezdxf.enums import InsertUnits
from typer.testing import CliRunner, Result

from controller.cli import app
from controller.plan.patterns import places
from controller.settings.load import load_job


@pytest.fixture(autouse=True)
def _in_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def job_from(*arguments: str) -> Result:
    return CliRunner().invoke(app, ["job-from", *arguments, "--like", "diffuser.toml"])


def table(*rows: str) -> None:
    Path("my plate.csv").write_text("\n".join(["x_mm,y_mm,d_mm", *rows]), encoding="utf-8")


def test_a_table_becomes_a_job_that_plans() -> None:
    table("10,10,1.5", "16,10,1.5", "16,10.001,1.5", "30,30,4")
    made = job_from("my plate.csv", "--diameter", "1.5", "--zero", "4", "0", "--thickness", "2")
    assert made.exit_code == 0, made.output
    job = load_job(Path("my-plate.toml"))
    assert places(job.holes) == [(6.0, 10.0), (12.0, 10.0)]
    assert (job.job.name, job.work.thickness_mm, job.holes.diameter_mm) == ("my-plate", 2.0, 1.5)
    assert "Left: 1 of diameter 4 mm: not the 1.5 mm asked for." in made.output
    assert "Left: 1 drawn twice, the first at x 16, y 10 mm (line 3, again line 4)." in made.output
    planned = CliRunner().invoke(app, ["plan", "my-plate.toml", "--no-picture"])
    assert planned.exit_code == 0, planned.output


def test_nothing_is_written_over() -> None:
    table("10,10,1.5")
    Path("my-plate.toml").write_text("mine")
    assert job_from("my plate.csv").exit_code == 2
    assert Path("my-plate.toml").read_text() == "mine"


def test_several_diameters_must_be_chosen_from() -> None:
    table("10,10,1.5", "16,10,3")
    refused = job_from("my plate.csv")
    assert refused.exit_code == 2
    assert "1 of 1.5 mm, 1 of 3 mm" in refused.output
    assert not Path("my-plate.toml").exists()
    assert "no hole of 2 mm" in job_from("my plate.csv", "--diameter", "2").output


def test_overlaps_are_told_and_the_plan_then_refuses() -> None:
    table("10,10,1.5", "11,10,1.5")
    made = job_from("my plate.csv", "--json")
    told = json.loads(made.output)
    assert told["overlaps"] == ["holes 1 and 2 are 1.000 mm apart, at x 10, y 10 and x 11, y 10 mm"]
    assert CliRunner().invoke(app, ["plan", "my-plate.toml", "--no-picture"]).exit_code == 2


def test_a_program_with_drill_cycles_becomes_a_job() -> None:
    Path("plate.ngc").write_text("G21 G90\nG81 X5 Y5 Z-2 R1\nX11\nG80\n")
    assert job_from("plate.ngc").exit_code == 0
    assert places(load_job(Path("plate.toml")).holes) == [(5.0, 5.0), (11.0, 5.0)]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("plate.step",), "must end in .dxf"),
        (("plate.dxf",), "there is no such file"),
        (("plate.csv", "--layer", "A"), "only a DXF drawing has layers"),
        (("plate.csv", "--unit", "ell"), "--unit ell: must be mm"),
    ],
)
def test_bad_usage_is_told(arguments: tuple[str, ...], words: str) -> None:
    refused = job_from(*arguments)
    assert refused.exit_code == 2
    assert words in refused.output


def test_five_thousand_holes_of_a_drawing_are_all_there() -> None:
    document = ezdxf.new("R2010")
    document.units = InsertUnits.Millimeters
    for row in range(50):
        for column in range(100):
            document.modelspace().add_circle((2 + 1.9 * column, 2 + 1.9 * row), 0.75)
    document.saveas("many.dxf")
    assert job_from("many.dxf").exit_code == 0
    made = places(load_job(Path("many.toml")).holes)
    assert len(made) == 5000
    assert made[-1] == pytest.approx((190.1, 95.1))


def test_a_size_that_the_rod_can_never_make_is_refused_before_anything_is_written() -> None:
    table("10,10,0.8")
    refused = job_from("my plate.csv")
    assert refused.exit_code == 2
    assert "must be more than electrode.diameter_mm (1.2)" in refused.output
    assert not Path("my-plate.toml").exists()
