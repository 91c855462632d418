"""The short campaign: every fault once, some kills, a second look at what the long one prints."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest

from controller.core.causes import MEANINGS, Cause, Reaction
from controller.core.fault_table import CONDITIONS, of_fault, table
from sim.injector import names
from tests.campaign.campaign import ELSEWHERE, amiss, is_right, late, report
from tests.campaign.drill import Drill, drill, small_job
from tests.campaign.kills import by_signal, in_memory
from tests.campaign.wires import WireTask, wire_drill

README = Path(__file__).resolve().parents[2] / "README.md"
# One moment for each fault, chosen so that it finds the machine at what it breaks: in the second hole, or before the
# first touch for what only set-up can notice.
MOMENTS = {
    "plate-not-grounded": "@t:0s",
    "plate-dirty": "@t:0s",
    "water-conducts": "@t:0s",
    "sensing-dead": "@t:0s",
    "work-missing": "@t:0s",
    "work-moved": "@hole:3+1s",
    "lost-steps": "@hole:3+1s",
    "electrode-misplaced": "@t:0s",
}
DRILLED = [name for name in names(rehearsed=True) if name not in ELSEWHERE]


@pytest.mark.parametrize("name", DRILLED)
def test_every_fault_ends_named_and_safe_and_breaks_no_rule_of_the_plant(name: str) -> None:
    """Complete or stopped, the true cause named, nothing left on, no breach seen by the plant's own monitor."""
    done = drill(small_job(), name + MOMENTS.get(name, "@hole:2+2s"), 7)
    assert amiss([done]) == []
    assert is_right(done), (done.outcome, done.told, done.reason)
    assert done.injected_s is not None
    assert all(time_s <= allowed_s + 0.02 + 1e-9 for _, time_s, allowed_s in late([done])), late([done])


@pytest.mark.parametrize(
    "task",
    [("status", "clamp", "host-killed@hole:2+2s", 7), ("ack", "biased", "resend-storm@hole:1+2s", 7)],
    ids=["status", "ack"],
)
def test_over_the_wires_it_is_the_same(task: WireTask) -> None:
    """A dead host and a broken wire: the job is done, nothing is left on, and the plant's monitor has seen nothing."""
    done = wire_drill(task)
    assert amiss([done]) == []
    assert is_right(done), (done.outcome, done.told, done.reason)
    assert done.injected_s is not None
    assert done.outcome == "complete"
    assert sorted(hole for hole, _ in done.holes) == [1, 2, 3]


@pytest.mark.parametrize("seed", [1, 2])
def test_a_job_whose_host_dies_again_and_again_makes_every_hole_exactly_once(seed: int) -> None:
    """The plant lives on, further than the record; nothing is drilled twice, nothing is lost."""
    done = in_memory(small_job(), seed, 45.0)
    assert done.problems == []
    assert done.kills >= 2


def test_a_process_killed_again_and_again_leaves_a_journal_to_go_on_from(tmp_path: Path) -> None:
    """SIGKILL at random moments, its journal on a real disk."""
    with tempfile.TemporaryDirectory(dir=tmp_path) as scratch:
        done = by_signal(small_job(), 5, 0.8, Path(scratch) / "run")
    assert done.problems == []


def test_without_a_fault_the_job_of_the_drills_is_complete_and_nobody_is_asked() -> None:
    """What a drill shows is the fault's doing."""
    done = drill(small_job(), "", 7)
    assert (done.outcome, done.told, done.breaches) == ("complete", [], [])


def test_every_fault_that_can_be_injected_has_a_row_in_the_table_and_every_row_a_fault_that_there_is() -> None:
    """The other way round, too; what only commissioning looks for is another table's affair."""
    known = set(names(rehearsed=True)) | set(names(rehearsed=False))
    commissioning = {"x-reversed", "y-reversed", "z-reversed", "idle-lock", "noisy-front-end", "source-reversed"}
    rows = {row.fault for row in CONDITIONS if row.fault}
    assert rows <= known
    assert known - rows == commissioning


def test_every_cause_says_what_the_machine_does_and_a_prompt_never_ends_a_run() -> None:
    """A row's reaction is its first cause's."""
    assert set(MEANINGS) == set(Cause)
    assert of_fault("welded").causes == (Cause.ELECTRODE_STUCK,)
    assert MEANINGS[Cause.ELECTRODE_STUCK].reaction is Reaction.HOLD


def test_the_table_in_the_readme_is_the_one_in_the_code() -> None:
    """Generated: `python -m controller.core.fault_table` prints it."""
    assert table() in README.read_text(encoding="utf-8")


def test_the_report_names_what_went_wrong() -> None:
    """A wrong cause, a breach and an exception are told with the seed that shows them again."""
    wrong = Drill("tank-low@t:1s", 11, outcome="fault", told=["flow lost"], injected_s=1.0)
    broken = Drill("bridged@t:1s", 12, outcome="complete", injected_s=1.0, breaches=["2.00 s: source on"])
    raised = Drill("welded@t:1s", 13, injected_s=1.0, uncaught="Traceback\nValueError: no")
    told = report([wrong, broken, raised], 1.0)
    assert "not: tank-low@t:1s seed 11" in told
    assert "bridged@t:1s seed 12: 2.00 s: source on" in told
    assert "welded@t:1s seed 13: ValueError: no" in told


def test_a_contact_that_closes_in_mid_touch_is_no_mistake_of_the_program() -> None:
    """The touch is refused in the very tick, before the guard's time is up; it is told as what it is."""
    done = drill(small_job(), "contact-stuck@t:54.64s", 825840265)
    assert done.told == ["source not isolated"]
    assert amiss([done]) == []
