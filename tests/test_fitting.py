"""Fitting a plant: what is read from a run, what is changed, and what is refused. Whole fits are run by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller import fitting
from controller.fitting import FitRefused, changed, fit
from controller.record.journal import read_journal
from controller.settings.find import packaged_configs
from sim.settings import load_plant
from tests.record import made_up
from tests.record.made_up import MadeUpRun


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    configs = packaged_configs()
    texts = {
        "technology_toml": (configs / "technology" / "tungsten-on-stainless.toml").read_text(encoding="utf-8"),
        "job_toml": (configs / "jobs" / "diffuser.toml").read_text(encoding="utf-8"),
        "machine_toml": (configs / "machines" / "virtual.toml").read_text(encoding="utf-8"),
    }
    monkeypatch.setattr(made_up, "START", made_up.START.model_copy(update=texts))
    MadeUpRun(12).write(tmp_path)
    return tmp_path


def test_each_law_is_corrected_until_its_figure_is_met(run: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a plant that answers as it should the fit finds what made the run: time over energy, wear times scale."""
    record = read_journal(run)
    seen: list[int] = []

    def answers(_job, _machine, _technology, _believed, plant, seed):  # type: ignore[no-untyped-def]
        return {
            "seconds of eroding a hole": 50.0 / plant.crater.energy_scale + 0.01 * (seed % 2),
            "mm of electrode a hole": 0.1 * plant.wear.tool_scale,
            "shorts a hole": 0.0,
        }

    monkeypatch.setattr(fitting, "_rehearsed", answers)
    found = fit(record, load_plant(), seen.append)
    assert found.changes["crater.energy_scale"] == pytest.approx(
        50.0 / found.recorded["seconds of eroding a hole"], rel=1e-3
    )
    assert found.changes["wear.tool_scale"] == pytest.approx(found.recorded["mm of electrode a hole"] / 0.1, rel=1e-3)
    assert "overcut.scale" not in found.changes  # nothing was gauged
    assert seen[-1] == fitting.rehearsals_needed()
    assert found.after["mm of electrode a hole"][0] == pytest.approx(found.recorded["mm of electrode a hole"], rel=1e-3)


def test_a_plant_is_changed_by_dotted_keys_and_stays_what_it_was_else() -> None:
    plant = load_plant()
    other = changed(plant, {"wear.tool_scale": 2.0, "source.dropout_rate_hz": 0.7})
    assert (other.wear.tool_scale, other.source.dropout_rate_hz) == (2.0, 0.7)
    assert other.water == plant.water


def test_a_run_without_holes_is_refused(run: Path) -> None:
    record = read_journal(run)
    with pytest.raises(FitRefused, match="three are needed"):
        fit(replace(record, events=record.events[:5]), load_plant(), lambda _: None)
