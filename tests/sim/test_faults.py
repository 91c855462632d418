"""Fault specifications and when faults happen."""

from __future__ import annotations

import pytest

from sim.faults import Site
from sim.injector import BadFaultError, Injector, Planned, names, planned
from sim.machine import VirtualMachine
from sim.settings import load_plant
from tests.campaign.drill import small_job


def test_a_fault_is_planned_by_time_or_by_hole() -> None:
    assert planned("stream-stops@t:1200s", "status") == Planned("stream-stops", at_s=1200.0)
    assert planned("board-reset@hole:12+3s", "ack") == Planned("board-reset", hole=12, after_s=3.0)
    assert planned("stream-stops", "status") == Planned("stream-stops", at_s=0.0)
    assert planned("board-reset@hole:12", "ack") == Planned("board-reset", hole=12)


@pytest.mark.parametrize("spec", ["stream-stops@12", "stream-stops@t:x", "@t:1s", "stream-stops@hole:"])
def test_another_form_is_refused_with_the_right_one(spec: str) -> None:
    with pytest.raises(BadFaultError, match="NAME@t:1200s or NAME@hole:12"):
        planned(spec, "status")


def test_an_unknown_fault_is_refused_with_the_closest_and_all_names() -> None:
    with pytest.raises(BadFaultError, match="did you mean stream-stops"):
        planned("stream-stop@t:1s", "status")
    with pytest.raises(BadFaultError) as refused:
        planned("zzz@t:1s", "status")
    assert all(name in str(refused.value) for name in names(rehearsed=False))


def test_a_fault_that_this_convention_does_not_know_is_refused() -> None:
    with pytest.raises(BadFaultError, match="only `ack` boards"):
        planned("resend-storm@t:1s", "status")
    assert planned("resend-storm@t:1s", "ack").name == "resend-storm"


def test_what_was_mended_is_not_mended_again() -> None:
    """A work that was pushed aside is put back once, however often a run is taken up."""
    given = small_job()
    plant = VirtualMachine(given.machine, given.job, given.plan, load_plant(), 1)
    injector = Injector([Planned("work-raised", 0.0)], Site(plant))
    before_mm = plant.truth.surface_mm(50.0, 50.0)
    injector.act(0.0)
    assert injector.broken == ["work-raised"]
    assert plant.truth.surface_mm(50.0, 50.0) > before_mm
    for _ in range(2):
        injector.mend()
        assert plant.truth.surface_mm(50.0, 50.0) == pytest.approx(before_mm)
    assert injector.broken == []
