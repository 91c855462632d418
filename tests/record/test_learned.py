"""Gauged holes are kept beside the jobs, only ever added to, and never mixed between rehearsals and real runs."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.plan.overcut import Gauged
from controller.record.journal import GaugedHole
from controller.record.learned import append_learned, learned_file, read_learned
from controller.settings.load import SettingsError
from tests.record.made_up import START

REAL = START.model_copy(update={"rehearsed": False, "seed": None})


def hole(number: int, diameter_mm: float) -> GaugedHole:
    return GaugedHole(number, diameter_mm, 0.01, 1.2, "2026-01-03T00:00:00Z")


def test_what_was_entered_is_read_back(tmp_path: Path) -> None:
    """Two entries come back as they were, in a file named after machine and technology."""
    kept = append_learned(tmp_path, tmp_path / "run", START, [hole(1, 1.49), hole(2, 1.51)])
    assert kept == learned_file(tmp_path, "bench", "some-pair")
    assert read_learned(tmp_path, "bench", "some-pair", rehearsed=True) == [
        Gauged(1, 1.49, 0.01, 1.2),
        Gauged(2, 1.51, 0.01, 1.2),
    ]


def test_nothing_learned_is_an_empty_list(tmp_path: Path) -> None:
    """A workshop without the file has learned nothing, and that is no mistake."""
    assert read_learned(tmp_path, "bench", "some-pair", rehearsed=True) == []


def test_a_hole_entered_again_counts_as_entered_last(tmp_path: Path) -> None:
    """The same hole of the same run is corrected, the same number in another run is another hole."""
    for run, diameter_mm in (("one", 1.40), ("two", 1.50), ("one", 1.49)):
        append_learned(tmp_path, tmp_path / run, START, [hole(1, diameter_mm)])
    diameters = [gauged.diameter_mm for gauged in read_learned(tmp_path, "bench", "some-pair", rehearsed=True)]
    assert sorted(diameters) == [1.49, 1.50]


def test_a_rehearsal_never_teaches_a_real_run(tmp_path: Path) -> None:
    """Entries of the virtual machine and of the real one lie in one file and are kept apart."""
    append_learned(tmp_path, tmp_path / "virtual", START, [hole(1, 1.45)])
    append_learned(tmp_path, tmp_path / "real", REAL, [hole(1, 1.52)])
    assert [each.diameter_mm for each in read_learned(tmp_path, "bench", "some-pair", rehearsed=True)] == [1.45]
    assert [each.diameter_mm for each in read_learned(tmp_path, "bench", "some-pair", rehearsed=False)] == [1.52]


def test_earlier_entries_stay_byte_for_byte(tmp_path: Path) -> None:
    """A new entry is added behind what is there, hand-written remarks included."""
    kept = append_learned(tmp_path, tmp_path / "run", START, [hole(1, 1.49)])
    with kept.open("a", encoding="utf-8") as stream:
        stream.write("# measured on a cold morning\n")
    before = kept.read_bytes()
    append_learned(tmp_path, tmp_path / "run", START, [hole(2, 1.5)])
    assert kept.read_bytes().startswith(before)


@given(name=st.text(st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), min_size=1, max_size=30))
def test_any_folder_name_can_stand_in_the_file(name: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Quotes, backslashes, controls and signs of any script are written so that they can be read again."""
    workshop = tmp_path_factory.mktemp("workshop")
    append_learned(workshop, workshop / f"x{name}", START, [hole(1, 1.49)])
    assert len(read_learned(workshop, "bench", "some-pair", rehearsed=True)) == 1


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[[gauged]\n", "not valid TOML"),
        ("[[gauged]]\nhole = 1\n", "gauged[0].diameter_mm"),
        ('gauged = "many"\n', "gauged"),
    ],
    ids=["no TOML", "fields missing", "no list"],
)
def test_a_file_that_can_not_be_understood_is_refused(tmp_path: Path, text: str, message: str) -> None:
    """The message names the file and the key; nothing is passed over."""
    kept = learned_file(tmp_path, "bench", "some-pair")
    kept.parent.mkdir(parents=True)
    kept.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        read_learned(tmp_path, "bench", "some-pair", rehearsed=True)
    assert str(kept) in str(refused.value)
    assert message in str(refused.value)
