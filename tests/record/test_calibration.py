"""The calibration file: what passed checks measured, believed by real runs, and what was before is kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.events import Checked, Figure
from controller.record.calibration import calibration_file, measured_by, read_calibration, write_calibration
from controller.settings.calibration import Calibration, calibrated
from controller.settings.load import SettingsError
from controller.settings.machine import DropOuts, Machine

WHEN, LATER = "2020-01-01T10:00:00Z", "2020-02-01T10:00:00Z"


def fingerprint(outcome: str = "pass", longest_ms: float = 300.0) -> Checked:
    figures = (
        Figure("rate", 0.25, "a second", 3),
        Figure("median", 60.0, "ms"),
        Figure("longest to expect", longest_ms, "ms"),
    )
    return Checked(1.0, "fingerprint", "Source fingerprint", outcome, "seen", "", figures)


def backlash(um: float) -> Checked:
    return Checked(1.0, "backlash", "Backlash", "pass", "seen", "", (Figure("B", um, "µm", 1),))


def test_what_was_measured_replaces_what_the_file_says() -> None:
    calibration = measured_by([fingerprint(), backlash(31.0)], "m", WHEN, None)
    machine = calibrated(Machine(name="m"), calibration)
    assert machine.drop_outs == DropOuts(rate_hz=0.25, median_s=0.06, longest_s=0.3)
    assert machine.axes.backlash_um == (40.0, 40.0, 31.0)


def test_nothing_measured_is_nothing_believed() -> None:
    assert measured_by([fingerprint("fail")], "m", WHEN, None) is None
    assert calibrated(Machine(name="m"), None) == Machine(name="m")


def test_a_check_that_was_not_passed_leaves_what_was_known_before() -> None:
    before = Calibration(machine="m", when_utc=WHEN, drop_outs=DropOuts(rate_hz=1.0), backlash_z_um=20.0)
    after = measured_by([fingerprint("fail"), backlash(31.0)], "m", LATER, before)
    assert after is not None
    assert (after.drop_outs, after.backlash_z_um, after.when_utc) == (before.drop_outs, 31.0, LATER)


def test_a_source_that_always_lasts_alike_gives_a_law_that_can_be_loaded(tmp_path: Path) -> None:
    calibration = measured_by([fingerprint(longest_ms=60.0)], "m", WHEN, None)
    assert calibration is not None
    write_calibration(tmp_path, calibration, None)
    assert read_calibration(tmp_path, "m") == calibration


def test_the_one_before_is_kept_when_a_new_one_is_written(tmp_path: Path) -> None:
    first = Calibration(machine="m", when_utc=WHEN, backlash_z_um=20.0, measured={"touch_s_um": 1.5})
    write_calibration(tmp_path, first, None)
    second = measured_by([backlash(31.0)], "m", LATER, read_calibration(tmp_path, "m"))
    assert second is not None
    path = write_calibration(tmp_path, second, first)
    assert path == calibration_file(tmp_path, "m")
    assert read_calibration(tmp_path, "m") == second
    assert second.measured == {"touch_s_um": 1.5}
    assert sorted(each.name for each in path.parent.iterdir()) == ["m-20200101T100000Z.toml", "m.toml"]


def test_a_machine_never_checked_has_none(tmp_path: Path) -> None:
    assert read_calibration(tmp_path, "m") is None


def test_a_spoilt_file_is_refused_with_the_key(tmp_path: Path) -> None:
    path = calibration_file(tmp_path, "m")
    path.parent.mkdir()
    path.write_text('machine = "m"\nwhen_utc = "x"\n[drop_outs]\nmedian_s = 0.5\nlongest_s = 0.2\n', encoding="utf-8")
    with pytest.raises(SettingsError, match="longest_s: must be more than median_s"):
        read_calibration(tmp_path, "m")
