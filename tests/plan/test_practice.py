"""What is said before a job that the process can't do, or can do but seldom."""

from __future__ import annotations

import pytest

from controller.plan.overcut import Overcut
from controller.plan.patterns import places
from controller.plan.practice import Practice, judge_practice
from controller.settings.job import Points
from tests.plan.made import job, technology

GUESS = Overcut(0.14, 0.025, 0.008, 0)


def judged(**changes: object) -> Practice:
    overcut = changes.pop("overcut", GUESS)
    made = job(**changes)
    assert isinstance(overcut, Overcut)
    return judge_practice(made, technology(), overcut, places(made.holes))


def test_an_ordinary_job_has_nothing_against_it() -> None:
    assert judged() == Practice([], [])


def test_depth_against_what_was_published_for_tungsten_in_water() -> None:
    """Aspect ratio about 17 (Kagaya, Oishi & Yada 1986); 10 to 14 in water (JMPT 2004)."""
    assert "27 times" in judged(work__thickness_mm=40.0).problems[0]
    assert any("11 times as deep" in note for note in judged(work__thickness_mm=16.5).notes)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"work__clear_below_mm": 1.0}, "takes about 1.3 mm below the plate; raise the plate, and set 2.0 or more"),
        ({"electrode__length_mm": 25.01}, "leaves 0.01 mm that can wear away"),
        ({"holes__tolerance_mm": 0.01}, "finer than the process: diameters scatter by 0.016 mm"),
        (
            {"holes__pattern": [Points(kind="list", at_mm=[(5.0, 5.0), (6.55, 5.0)])]},
            "holes 1 and 2 leave a wall of 0.05 mm",
        ),
        ({"work__outline_mm": ((5.2, -1.0), (70.0, -1.0), (70.0, 60.0), (5.2, 60.0))}, "to the edge of the plate"),
        ({"work__outline_mm": ((10.0, -1.0), (70.0, -1.0), (70.0, 60.0), (10.0, 60.0))}, "lies outside work.outline"),
    ],
)
def test_what_cant_come_out_well_is_refused_with_its_remedy(changes: dict[str, object], words: str) -> None:
    assert any(words in problem for problem in judged(**changes).problems), judged(**changes).problems


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"work__clear_below_mm": 1.5}, "a tip that wears longer than expected would need 2.0 mm"),
        ({"holes__tolerance_mm": 0.02}, "some will be out"),
        ({"holes__pattern": [Points(kind="list", at_mm=[(5.0, 5.0), (6.8, 5.0)])]}, "it may warp"),
    ],
)
def test_what_may_go_wrong_is_noted(changes: dict[str, object], words: str) -> None:
    found = judged(**changes)
    assert not found.problems
    assert any(words in note for note in found.notes), found.notes
