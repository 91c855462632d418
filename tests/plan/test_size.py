"""A job whose size the rod can't make is refused with the rod it would need."""

from __future__ import annotations

import pytest

from controller.plan.overcut import Overcut
from controller.plan.size import judge_size
from tests.plan.made import job

GUESSED = Overcut(0.14, 0.025, 0.008, 0)
GAUGED = Overcut(0.15, 0.003, 0.004, 6)


def test_a_rod_that_makes_the_size_is_accepted_with_the_share_in_tolerance() -> None:
    size = judge_size(job(), GAUGED)
    assert size.ok
    assert size.diameter_mm == pytest.approx(1.5)
    assert size.rod_needed_mm == pytest.approx(1.2)
    assert size.rods_mm == (1.2, 1.2)
    assert size.words == (
        "a 1.2 mm rod makes 1.500 ± 0.020 mm; 1.5 ± 0.05 mm is wanted: about 100 % of the holes will be in tolerance"
    )


def test_a_gauged_overcut_that_misses_the_size_refuses_the_job_and_names_the_rod() -> None:
    size = judge_size(job(holes__diameter_mm=1.57), GAUGED)
    assert not size.ok
    assert size.rod_needed_mm == pytest.approx(1.27)
    assert size.rods_mm == (1.2, 1.3)
    assert size.words == (
        "a 1.2 mm rod makes 1.500 ± 0.020 mm, not 1.57 ± 0.05 mm: it would take a rod of 1.270 mm; on sale: "
        "1.2 mm would make 1.500 mm, 1.3 mm would make 1.600 mm"
    )


def test_a_guess_refuses_only_what_it_cannot_allow() -> None:
    assert judge_size(job(holes__diameter_mm=1.57), GUESSED).ok
    assert not judge_size(job(holes__diameter_mm=1.8), GUESSED).ok
    assert "gauge a first article" in judge_size(job(), GUESSED).words


def test_a_first_article_is_never_refused() -> None:
    assert judge_size(job(job__first_article=True, holes__diameter_mm=1.8), GUESSED).ok


def test_no_rod_is_named_where_none_is_thin_enough() -> None:
    size = judge_size(job(holes__diameter_mm=0.25, electrode__diameter_mm=0.2), Overcut(0.15, 0.003, 0.004, 6))
    assert not size.ok
    assert size.words.endswith("no rod on sale is so thin")


def test_the_share_in_tolerance_is_that_of_a_normal_distribution() -> None:
    """Centred, tolerance of two standard deviations: 95.45 % (standard normal table)."""
    overcut = Overcut(0.15, 0.0, 0.0125, 6)
    assert judge_size(job(), overcut).within == pytest.approx(0.9545, abs=1e-4)
