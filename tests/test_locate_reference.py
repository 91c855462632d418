"""`gapwright locate reference`: the reference plate's own place and height, touched on the virtual machine."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from controller.settings.find import packaged_configs
from controller.settings.load import load_machine
from sim.settings import load_plant
from tests.test_cli import gapwright

# How far a rod stands out at the virtual machine at the start is drawn about this (machine file), within two of its
# standard uncertainties.
PROTRUSION_MM, PROTRUSION_U_MM = 45.0, 2.0


def located(*more: str) -> dict[str, object]:
    done = gapwright("locate", "reference", "coupon.toml", "--rehearse", "--json", *more)
    assert done.exit_code == 0, done.output
    found: dict[str, object] = json.loads(done.output)["found"]
    return found


@pytest.mark.parametrize(("seed", "near"), [(1, (10.0, 10.0)), (2, (14.5, 6.0)), (3, (4.0, 15.0))])
def test_the_middle_and_the_height_are_within_what_is_stated(seed: int, near: tuple[float, float]) -> None:
    """From anywhere on it; the height is as good as the rod's length."""
    true = load_machine(packaged_configs() / "machines" / "virtual.toml").reference_plate
    found = located(
        "--seed", str(seed), "--near", *map(str, near), "--tip", str(PROTRUSION_MM), "--tip-u", str(PROTRUSION_U_MM)
    )
    assert abs(float(str(found["x_mm"])) - true.x_mm) < 3.0 * float(str(found["u_mm"]))
    assert abs(float(str(found["y_mm"])) - true.y_mm) < 3.0 * float(str(found["u_mm"]))
    assert abs(float(str(found["height_mm"])) - true.height_mm) < 2.0 * float(str(found["u_height_mm"]))
    assert float(str(found["u_mm"])) < 0.03
    half_mm = load_plant(None).plate.reference_half_mm
    assert found["wide_mm"] == pytest.approx([2.0 * half_mm] * 2, abs=0.15)
    assert float(str(found["level_mm"])) < 0.02


def test_the_lines_for_the_machine_file_are_such_lines() -> None:
    done = gapwright("locate", "reference", "coupon.toml", "--rehearse", "--tip", "45", "--tip-u", "2")
    assert done.exit_code == 0, done.output
    table = done.output[done.output.index("[reference_plate]") : done.output.index("What the rod")]
    assert set(tomllib.loads(table)["reference_plate"]) == {"x_mm", "y_mm", "height_mm"}


def test_where_no_plate_is_nothing_is_made_up() -> None:
    done = gapwright(
        "locate", "reference", "coupon.toml", "--rehearse", "--tip", "45", "--tip-u", "2", "--near", "25", "10"
    )
    assert done.exit_code == 4
    assert "nothing found at the reference plate" in done.output
    assert "[reference_plate]" not in done.output


def test_a_real_machine_has_to_be_named(tmp_path: Path) -> None:
    done = gapwright("locate", "reference", "coupon.toml", "--tip", "45")
    assert done.exit_code == 2
    assert "--machine is missing" in done.output
    assert not list(tmp_path.iterdir())
