"""What comes out of good files, overlays, and files full of nonsense."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from controller.settings.base import Settings
from controller.settings.job import Job
from controller.settings.load import SettingsError, _checked, load_machine, load_overlay, read_toml
from controller.settings.machine import Axes, Machine, Motion
from tests.settings.files import JOB, MACHINE, broken


def test_the_smallest_useful_move_is_one_step_on_status_boards() -> None:
    assert Machine(name="m", axes=Axes(steps_per_mm=(80.0, 80.0, 400.0))).useful_move_um == 2.5


def test_the_smallest_useful_move_is_eighteen_steps_on_ack_boards() -> None:
    machine = Machine(name="m", axes=Axes(steps_per_mm=(80.0, 80.0, 3200.0)), motion=Motion(convention="ack"))
    assert machine.useful_move_um == pytest.approx(5.625)


@pytest.mark.parametrize(("steps", "accepted"), [(1799, False), (1800, True)])
def test_an_ack_machine_is_taken_from_ten_micrometres_a_burst(tmp_path: Path, steps: int, accepted: bool) -> None:
    path = tmp_path / "machine.toml"
    path.write_text(broken(MACHINE, ('"status"', '"ack"'), ("400.0]", f"{steps}.0]")), encoding="utf-8")
    if accepted:
        assert load_machine(path).useful_move_um == pytest.approx(10.0)
    else:
        with pytest.raises(SettingsError, match="micro-stepping 2 times finer"):
            load_machine(path)


def test_settings_left_out_take_their_defaults(tmp_path: Path) -> None:
    path = tmp_path / "machine.toml"
    path.write_text('name = "bare"\n', encoding="utf-8")
    assert load_machine(path) == Machine(name="bare")


class Wear(Settings):
    tool_scale: float = Field(gt=0)
    law: str


class Plant(Settings):
    wear: Wear
    dirt: float


BASE = 'dirt = 1.0\n[wear]\ntool_scale = 1.0\nlaw = "ring"\n'


def overlaid(folder: Path, base: str, overlay: str) -> Plant:
    (folder / "default.toml").write_text(base, encoding="utf-8")
    (folder / "over.toml").write_text(overlay, encoding="utf-8")
    return load_overlay(folder / "default.toml", folder / "over.toml", Plant)


def test_an_overlay_changes_only_what_it_names(tmp_path: Path) -> None:
    plant = overlaid(tmp_path, BASE, "[wear]\ntool_scale = 2.0\n")
    assert plant == Plant(wear=Wear(tool_scale=2.0, law="ring"), dirt=1.0)


def test_a_base_without_overlay_stands_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "default.toml").write_text(BASE, encoding="utf-8")
    assert load_overlay(tmp_path / "default.toml", None, Plant).wear.tool_scale == 1.0


@pytest.mark.parametrize(
    ("base", "overlay", "message"),
    [
        (BASE, "[wear]\ntool_scale = 0\n", "over.toml: wear.tool_scale: must be more than 0; you wrote 0"),
        (BASE, "[wear]\ntool_skale = 2\n", "over.toml: wear.tool_skale: unknown key; did you mean tool_scale?"),
        (BASE, "wear = 3\n", "over.toml: wear: must be a table; you wrote 3"),
        (BASE.replace("1.0\n[", "-\n["), "", "default.toml: not valid TOML: invalid value (at line 1, column 8)"),
        (BASE.replace("dirt = 1.0\n", ""), "", "default.toml: dirt: is missing; add dirt = … to the top of the file"),
    ],
)
def test_a_problem_in_an_overlay_names_the_file_it_stands_in(
    tmp_path: Path, base: str, overlay: str, message: str
) -> None:
    with pytest.raises(SettingsError) as refused:
        overlaid(tmp_path, base, overlay)
    assert [str(problem).replace(f"{tmp_path}/", "") for problem in refused.value.problems] == [message]


def good_job() -> dict[str, Any]:
    import tomllib

    return tomllib.loads(JOB)


KEYS = [(section, key) for section, table in good_job().items() for key in [None, *table]]
ENTRIES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@given(st.lists(st.tuples(st.sampled_from(KEYS), ENTRIES), min_size=1, max_size=5))
def test_whatever_stands_in_a_file_it_is_taken_or_refused_with_words(
    changes: list[tuple[tuple[str, str | None], Any]],
) -> None:
    raw = good_job()
    for (section, key), entry in changes:
        if key is None or not isinstance(raw[section], dict):
            raw[section] = entry
        else:
            raw[section][key] = entry
    job, problems = _checked(raw, Job, lambda path: "job.toml")
    assert (job is not None and not problems) or all(problem.remedy for problem in problems)
    assert job is not None or problems
    json.dumps([str(problem) for problem in problems])


def test_toml_is_read_as_utf8_whatever_the_machine_speaks(tmp_path: Path) -> None:
    path = tmp_path / "words.toml"
    path.write_bytes('name = "Prüfstück"\n'.encode())
    assert read_toml(path) == {"name": "Prüfstück"}
