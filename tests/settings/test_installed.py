"""The installed package: without a checkout beside it, both worlds find the shipped settings inside `controller`."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

from controller.settings.find import packaged_configs
from sim.settings import DEFAULT_PLANT

REPO = Path(__file__).resolve().parents[2]
WHEEL = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]["targets"][
    "wheel"
]
ASK = """
from controller.settings.find import packaged_configs
from sim import settings
settings.load_plant()
print(packaged_configs(), settings.DEFAULT_PLANT, settings.__file__, sep="\\n")
"""


def laid_out(site: Path) -> None:
    """What the wheel holds, laid out as pip would: the packages, and the files that are forced into them."""
    for package in WHEEL["packages"]:
        shutil.copytree(REPO / package, site / package, ignore=shutil.ignore_patterns("__pycache__"))
    for source, target in WHEEL["force-include"].items():
        shutil.copytree(REPO / source, site / target)


def test_the_default_plant_is_one_of_the_packaged_settings() -> None:
    """Controller and plant share no figures, but they look for their files in one place."""
    assert packaged_configs() / "plants" / "default.toml" == DEFAULT_PLANT
    assert DEFAULT_PLANT.is_file()


def test_the_default_plant_is_found_inside_the_installed_package(tmp_path: Path) -> None:
    """Laid out as the wheel is, outside the checkout: the plant comes from within `controller/configs`, and loads."""
    site = tmp_path / "site"
    laid_out(site)
    asked = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(site)!r})\n{ASK}"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    configs, plant, module = (Path(line) for line in asked.stdout.splitlines())
    assert module == site / "sim" / "settings.py"
    assert configs == site / "controller" / "configs"
    assert plant == configs / "plants" / "default.toml"
