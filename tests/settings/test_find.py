"""A settings file is found as a path, beside the file that names it, in ./configs, or among those shipped."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.settings.find import packaged_configs, resolve
from controller.settings.load import SettingsError, load_job, load_machine, technology_of

SHIPPED = packaged_configs()


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def put(*path: str | Path) -> Path:
    place = Path(*path)
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text("", encoding="utf-8")
    return place


def test_a_path_wins_over_the_file_beside_and_the_configs(here: Path) -> None:
    referring = put(here, "jobs", "plate.toml")
    places = [
        put("bench.toml"),
        put(here, "jobs", "bench.toml"),
        put("configs", "machines", "bench.toml"),
    ]
    for place in places:
        assert resolve("bench.toml", referring).resolve() == place.resolve()
        assert resolve("bench", referring).resolve() == place.resolve()
        place.unlink()
    with pytest.raises(SettingsError, match=r"^bench: no such settings file; looked in \., "):
        resolve("bench", referring)


def test_the_shipped_files_are_found_from_any_folder(here: Path) -> None:
    assert resolve("virtual", kind="machines") == SHIPPED / "machines" / "virtual.toml"
    assert resolve("diffuser.toml") == SHIPPED / "jobs" / "diffuser.toml"


def test_the_kind_keeps_a_job_from_passing_for_a_machine(here: Path) -> None:
    with pytest.raises(SettingsError, match="diffuser: no such settings file"):
        resolve("diffuser", kind="machines")


def test_a_near_name_is_suggested(here: Path) -> None:
    with pytest.raises(SettingsError, match=r"did you mean diffuser\.toml\?"):
        resolve("difuser")


def test_a_folder_is_no_settings_file(here: Path) -> None:
    (here / "diffuser").mkdir()
    assert resolve("diffuser") == SHIPPED / "jobs" / "diffuser.toml"


def test_an_empty_name_is_refused(here: Path) -> None:
    with pytest.raises(SettingsError, match="no such settings file"):
        resolve("")


@pytest.mark.parametrize("path", sorted((SHIPPED / "machines").glob("*.toml")), ids=lambda path: path.stem)
def test_every_shipped_machine_loads(path: Path) -> None:
    assert 0 < load_machine(path).useful_move_um <= 10


@pytest.mark.parametrize("path", sorted((SHIPPED / "jobs").glob("*.toml")), ids=lambda path: path.stem)
def test_every_shipped_job_loads_with_a_technology_for_its_materials(path: Path) -> None:
    job = load_job(path)
    assert job.work.material in technology_of(job, path).pair.work
