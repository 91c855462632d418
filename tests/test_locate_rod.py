"""`gapwright locate rod`: lean and run-out of the electrode, touched on the virtual machine."""

from __future__ import annotations

import json
from math import cos, pi
from pathlib import Path

import numpy as np
import pytest

from controller.core.cycles.locate_rod import STOPS, run_out
from controller.settings.find import packaged_configs
from tests.test_cli import gapwright
from tests.test_locate_command import JOB, PLANT

MACHINE = (packaged_configs() / "machines" / "virtual.toml").read_text(encoding="utf-8")


@pytest.fixture(autouse=True)
def _workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("askew.toml").write_text(JOB, encoding="utf-8")
    turning = MACHINE.replace("[spindle]\nfitted = false", "[spindle]\nfitted = true")
    Path("turning.toml").write_text(turning, encoding="utf-8")


def plant(lean_x: float, lean_y: float, runout_um: float = 8.0) -> None:
    rod = f"\n[rod]\nlean_x_mm_m = {lean_x}\nlean_y_mm_m = {lean_y}\nrunout_um = {runout_um}\n"
    Path("table.toml").write_text(PLANT + rod, encoding="utf-8")


def rehearsed(*more: str) -> str:
    done = gapwright(
        "locate",
        "rod",
        "askew.toml",
        "--rehearse",
        "--plant",
        "table.toml",
        "--near",
        "52",
        "37",
        "--turned",
        "8",
        *more,
    )
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.parametrize(("seed", "lean"), [(1, (6.0, -9.0)), (2, (0.0, 0.0)), (3, (-15.0, 4.0)), (4, (2.0, 20.0))])
def test_a_lean_is_found_within_what_is_stated(seed: int, lean: tuple[float, float]) -> None:
    """On a plate that is turned and tilted by 2°: neither is taken for the rod's."""
    plant(*lean)
    found = json.loads(rehearsed("--seed", str(seed), "--json"))["found"]
    for stated, u, true in zip(found["lean_mm_m"], found["u_lean_mm_m"], lean, strict=True):
        assert abs(stated - true) < 3.0 * u
        assert u < 1.5
    assert found["run_out_mm"] is None


def test_a_lean_that_costs_tolerance_is_told_with_what_to_do() -> None:
    plant(10.0, 0.0)
    told = rehearsed()
    assert "Straighten rod or holder" in told
    plant(0.0, 0.0)
    assert "can't be told from a rod that stands straight" in rehearsed()


@pytest.mark.parametrize(("seed", "runout_um"), [(1, 40.0), (2, 80.0)])
def test_a_run_out_is_found_where_a_spindle_turns_the_rod(seed: int, runout_um: float) -> None:
    plant(0.0, 0.0, runout_um)
    found = json.loads(rehearsed("--machine", "turning.toml", "--seed", str(seed), "--json"))["found"]
    assert abs(1000.0 * found["run_out_mm"] - runout_um) < 3.0 * 1000.0 * found["u_run_out_mm"]
    assert 1000.0 * found["u_run_out_mm"] < 0.4 * runout_um


def test_run_out_by_the_mean_square_of_a_cosine() -> None:
    """Evenly spread stops: the mean square of a cosine is a half (any table of integrals), so e = sqrt(2) · rms."""
    places = [0.05 * cos(2.0 * pi * k / 64) for k in range(64)]
    assert run_out(places, 0.0)[0] == pytest.approx(0.05, rel=0.01)
    assert run_out([1.0] * STOPS, 0.003)[0] == 0.0


def test_the_stated_uncertainty_of_a_run_out_holds() -> None:
    """Ten stops anywhere, each touched to 3 µm: within two standard uncertainties in 95 % or more."""
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(500):
        places = 0.03 * np.cos(2.0 * np.pi * rng.random(STOPS)) + rng.normal(0.0, 0.003, STOPS)
        found, u = run_out([float(place) for place in places], 0.003)
        inside += abs(found - 0.03) < 2.0 * u
    assert inside >= 0.95 * 500


def test_too_little_room_below_is_refused_with_a_way_out() -> None:
    plant(0.0, 0.0)
    Path("askew.toml").write_text(JOB.replace("clear_below_mm = 6.0", "clear_below_mm = 1.5"), encoding="utf-8")
    done = gapwright("locate", "rod", "askew.toml", "--rehearse", "--plant", "table.toml", "--near", "52", "37")
    assert done.exit_code != 0
    assert "no room below" in done.output
    assert "put the plate higher" in done.output
