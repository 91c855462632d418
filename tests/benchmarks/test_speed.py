"""The long job of the speed benchmark is a sound one."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.plan.build import build_plan
from controller.settings.find import packaged_configs
from controller.settings.load import load_job, load_machine
from tests.benchmarks.speed import long_job


@pytest.mark.parametrize("holes", [30, 250, 5000])
def test_the_long_job_has_its_holes_and_names_itself(tmp_path: Path, holes: int) -> None:
    """Every hole once, whole rows or not; settings and plan refuse none of it."""
    job = load_job(long_job(holes, tmp_path))
    machine = load_machine(packaged_configs() / "machines" / "virtual.toml")
    assert len(build_plan(job, machine).holes) == holes
    assert job.job.name == f"endurance-{holes}"
