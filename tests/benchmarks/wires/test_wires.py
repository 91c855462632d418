"""The wire benchmarks reckon right, and fail what misses what must be."""

from __future__ import annotations

from math import inf, isnan
from pathlib import Path

import pytest

from controller.host.pacer import Pacer
from tests.benchmarks.wires.__main__ import short_rows, steps_row
from tests.benchmarks.wires.attached import lateness, percentile_ms
from tests.benchmarks.wires.lateness import LATE
from tests.benchmarks.wires.shorts import answers, percentile
from tests.benchmarks.wires.steps import ByBytes, Ledger, Tally


def short(began_s: float, told_s: float, reversed_s: float, away_s: float, ended_s: float) -> dict[str, float]:
    return {"began_s": began_s, "told_s": told_s, "reversed_s": reversed_s, "away_s": away_s, "ended_s": ended_s}


def test_a_share_of_times() -> None:
    times = [0.001 * number for number in range(100)]
    assert (percentile(times, 0.5), percentile(times, 0.99)) == (pytest.approx(0.05), pytest.approx(0.099))
    assert percentile([0.4], 0.99) == 0.4
    assert isnan(percentile([], 0.5))


def test_shorts_over_by_themselves_are_counted_apart_and_late_answers_miss() -> None:
    told = {
        "shorts": [
            short(1.0, 1.01, 1.02, 1.05, 1.06),
            short(2.0, inf, inf, inf, 2.03),
            short(3.0, 3.05, 3.06, 3.09, inf),
        ],
        "slips": 0,
    }
    found = answers(told)
    assert (len(found.reversed), found.by_itself, found.longest_s) == (2, 1, pytest.approx(0.03))
    assert [row.good for row in short_rows(found, "status", "biased")] == [False, False, None]
    assert [row.good for row in short_rows(found, "ack", "biased")] == [False, False, None]
    assert [row.good for row in short_rows(found, "status", "clamp")] == [None, None, None]
    quick = answers(told | {"shorts": told["shorts"][:1]})  # type: ignore[index]  # a list of dictionaries
    assert [row.good for row in short_rows(quick, "status", "biased")] == [True, True, None]


def test_the_loops_own_words_are_understood() -> None:
    pacer = Pacer(0.005, 0.0)
    for tick in range(1000):
        pacer.begin(tick * 0.005 + 0.0002)
    found = LATE.search(pacer.words())
    assert found is not None
    assert (int(found[1]), int(found[6])) == (1000, 0)


def test_a_count_that_is_wrong_and_believed_misses() -> None:
    good = Ledger("status", "complete", 10, 10, ends_known=True, ends_equal=True)
    assert steps_row("steps", [good]).good
    assert steps_row("steps", [Ledger("status", "fault", 10, 10)]).good  # known to be unknown
    assert not steps_row("steps", [Ledger("status", "complete", 10, 10, ends_known=True)]).good
    assert not steps_row("steps", [Ledger("status", "complete", 10, 9, wrong_s=2.0)]).good


def test_a_step_that_nobody_ordered_is_seen(tmp_path: Path) -> None:
    joined, kept = ByBytes(tmp_path, "status"), Ledger("status")
    tally = Tally(joined, kept)
    for _ in joined.ticks(60.0):
        tally.look()
        if kept.compared > 20:
            break
    assert kept.equal == kept.compared
    planner = joined.wired.motion.planner
    planner.steps = (planner.steps[0], planner.steps[1], planner.steps[2] + 1)
    tally.look()
    assert kept.equal < kept.compared
    assert kept.wrong_s > 0.0


def test_lateness_is_read_off_the_looks_of_a_run() -> None:
    """At 5 ms: on time, 1 ms late, a look asked for in between, 7 ms late (one left out), on time again."""
    found = lateness([0.0, 0.006, 0.008, 0.017, 0.0200001], 0.005)
    assert [due_s for due_s, _ in found] == pytest.approx([0.0, 0.005, 0.010, 0.020])
    assert [late_s for _, late_s in found] == pytest.approx([0.0, 0.001, 0.007, 1e-7])
    assert percentile_ms([0.001 * number for number in range(1000)], 0.999) == pytest.approx(999.0)
