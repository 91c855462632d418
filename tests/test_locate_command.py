"""`gapwright locate` as a person uses it: rehearsed, kept, used by the next job, refused when missing or stale."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from controller.cli import app

PLANT = """
[placed]
used = true
corner_mm = [52.4, 36.7]
turned_deg = 7.3
tilt_mm = 3.5
tilt_towards_deg = 130.0
height_mm = -60.6
size_mm = [60.0, 50.0]
"""
JOB = """
[job]
name = "askew"
technology = "tungsten-on-stainless"

[work]
material = "stainless steel"
thickness_mm = 0.3
clear_below_mm = 6.0
touch_points_mm = [[6.0, 6.0], [54.0, 6.0], [30.0, 44.0]]
outline_mm = [[0.0, 0.0], [60.0, 0.0], [60.0, 50.0], [0.0, 50.0]]
plate = "sheet"

[electrode]
material = "tungsten"
diameter_mm = 1.2
length_mm = 120.0
min_length_mm = 25.0

[holes]
diameter_mm = 1.5
tolerance_mm = 0.05

[[holes.pattern]]
kind = "list"
at_mm = [[10.0, 10.0], [50.0, 40.0]]
"""


@pytest.fixture(autouse=True)
def _workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("askew.toml").write_text(JOB, encoding="utf-8")
    Path("table.toml").write_text(PLANT, encoding="utf-8")


def gapwright(*arguments: str) -> Result:
    return CliRunner().invoke(app, [*arguments])


def locate_corner(*more: str) -> Result:
    return gapwright(
        "locate",
        "corner",
        "askew.toml",
        "--rehearse",
        "--plant",
        "table.toml",
        "--near",
        "52",
        "37",
        "--turned",
        "7",
        *more,
    )


def test_from_an_unknown_plate_to_drilled_holes() -> None:
    refused = gapwright("plan", "askew.toml", "--no-picture")
    assert refused.exit_code == 2
    assert "nothing was located on it" in refused.output
    assert "gapwright locate corner" in refused.output

    located = locate_corner()
    assert located.exit_code == 0, located.output
    assert re.search(r"Corner at x 52\.(39|40)\d+ ± 0\.0\d+", located.output)
    assert "Frame of plate 'sheet', by a corner" in located.output

    planned = gapwright("plan", "askew.toml", "--no-picture")
    assert planned.exit_code == 0, planned.output
    assert re.search(
        r"Frame: plate 'sheet' by a corner: zero at x 52\.\d+, y 36\.\d+ mm, turned 7\.\d+°", planned.output
    )

    drilled = gapwright("rehearse", "askew.toml", "--plant", "table.toml", "--seed", "2", "--out", "run", "--json")
    assert drilled.exit_code == 0, drilled.output
    assert json.loads(drilled.stdout)["holes_through"] == 2
    # The record holds the machine as it was used, the located frame in it.
    assert Path("run/truth.csv").read_text().count("true") == 2


def test_json_holds_figures_touches_and_frame() -> None:
    told = json.loads(locate_corner("--json").stdout)
    assert told["frame"]["rotation_deg"] == pytest.approx(7.3, abs=0.02)
    assert told["found"]["x_mm"] == pytest.approx(52.4, abs=0.03)
    assert len(told["touches"]) == 3 + 6 + 1  # face, walls, and the electrode on the reference plate


def test_what_is_stale_or_forgotten_is_refused() -> None:
    locate_corner()
    kept = Path("located/virtual/sheet.toml")
    text = kept.read_text(encoding="utf-8")
    kept.write_text(re.sub(r'when_utc = "\d+', 'when_utc = "2020', text), encoding="utf-8")
    stale = gapwright("plan", "askew.toml", "--no-picture")
    assert stale.exit_code == 2
    assert "h ago, longer than work.plate_max_age_h (24); locate it again" in stale.output

    # The clock was set back since: nobody knows how old it is.
    kept.write_text(re.sub(r'when_utc = "\d+', 'when_utc = "2999', text), encoding="utf-8")
    ahead = gapwright("plan", "askew.toml", "--no-picture")
    assert ahead.exit_code == 2
    assert "in the future" in ahead.output
    assert "is the clock of this computer right?" in ahead.output

    edge = (
        "locate",
        "edge",
        "askew.toml",
        "--rehearse",
        "--plant",
        "table.toml",
        "--near",
        "52",
        "37",
        "--turned",
        "7",
    )
    assert "No frame yet: edge located, which gives no frame" in gapwright(*edge, "--new").output
    assert "edge located, which gives no frame" in gapwright("plan", "askew.toml", "--no-picture").output


def test_what_was_rehearsed_is_never_used_for_a_real_run() -> None:
    locate_corner()
    text = Path("located/virtual/sheet.toml").read_text(encoding="utf-8")
    assert "rehearsed = true" in text
    Path("bench.toml").write_text(
        'name = "virtual"\n[motion]\nport = "socket://127.0.0.1:9"\n[sampler]\nport = "socket://127.0.0.1:9"\n'
    )
    refused = gapwright("run", "askew.toml", "--machine", "bench.toml", "--out", "run", "--headless", "--yes")
    assert refused.exit_code == 2
    assert "nothing was located on it on the real machine" in refused.output


def test_a_place_that_is_wrong_ends_safely_and_keeps_nothing() -> None:
    missed = gapwright("locate", "corner", "askew.toml", "--rehearse", "--plant", "table.toml", "--near", "95", "80")
    assert missed.exit_code == 4
    assert "Not located:" in missed.output
    assert not Path("located").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("corner", "askew.toml"), "--machine is missing"),
        (("edge", "askew.toml", "--rehearse", "--along", "z"), "--along z: must be x or y"),
        (("corner", "askew.toml", "--rehearse", "--at", "50", "0"), "touched over 5 mm only"),
    ],
)
def test_bad_usage_is_told(arguments: tuple[str, ...], words: str) -> None:
    refused = gapwright("locate", *arguments)
    assert refused.exit_code == 2
    assert words in refused.output
