"""Whole sessions on the virtual boards, in virtual time: link, core, boards and plant joined by bytes alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.events import FaultTripped, HoleFinished, RunEnded
from controller.core.requests import HoldRequest
from controller.host.capture import Capture
from controller.host.replay import Repeated, replay
from controller.link.machine_link import Wire
from tests.host.virtual import VirtualRun


def repeated(run: VirtualRun, folder: Path) -> Repeated:
    """The run's capture, repeated."""
    path = folder / "capture.bin"
    path.write_bytes(run.capture)
    done = Repeated()
    for step in replay(Capture(path)):
        done = step
    return done


@pytest.mark.parametrize(("convention", "front_end"), [("status", "biased"), ("ack", "divider")])
def test_a_hole_is_drilled_by_bytes_alone_and_its_capture_repeats_itself(
    tmp_path: Path, convention: str, front_end: str
) -> None:
    """Complete, through and at full size in truth; nothing left on; replay brings the same to the last event."""
    run = VirtualRun(tmp_path, convention, front_end)
    run.to_end()
    assert isinstance(run.session.ended, RunEnded)
    assert run.session.ended.outcome == "complete", run.session.ended
    truth = run.wired.plant.truth
    assert not truth.live
    assert not truth.flow
    (hole,) = run.wired.true_holes()
    assert hole.through
    assert hole.exit_diameter_mm > hole.full_diameter_mm - 0.03
    assert [event.outcome for event in run.events if isinstance(event, HoleFinished)] == ["through"]
    done = repeated(run, tmp_path)
    assert done.difference is None
    assert done.events == len(run.events)


def test_a_request_to_end_while_eroding_leaves_the_hole_and_opens_the_source_cold(tmp_path: Path) -> None:
    run = VirtualRun(tmp_path, "status", "biased")
    run.until_phase("erode")
    z_um = run.wired.plant.truth.face_mm[2]
    run.tick([HoldRequest("interrupted by the user")])
    run.to_end()
    assert run.session.ended is not None
    assert (run.session.ended.outcome, run.session.ended.reason) == ("held", "interrupted by the user")
    assert run.wired.plant.truth.face_mm[2] > z_um + 4.0
    assert not run.wired.plant.truth.live
    assert "SourceOpenedHot" not in run.kinds


@pytest.mark.parametrize(
    ("wire", "cause"), [(Wire.BOARD, "board lost"), (Wire.SAMPLER, "sampler silent")], ids=["board", "sampler"]
)
def test_a_wire_pulled_while_eroding_ends_in_fault_with_the_source_off_within_120_ms(
    tmp_path: Path, wire: Wire, cause: str
) -> None:
    """The fail-safe gate's time (the project's electrics); the pump within 2 s; no further travel."""
    run = VirtualRun(tmp_path, "status", "biased")
    run.until_phase("erode")
    truth = run.wired.plant.truth
    tip_um = truth.tip_mm
    run.tick(lost=[(wire, "pulled")])
    pulled_s = run.time_s
    run.until(lambda: not truth.live)
    assert run.time_s - pulled_s <= 0.12
    run.until(lambda: not truth.flow)
    assert run.time_s - pulled_s <= 2.2
    run.to_end()
    assert [event.cause for event in run.events if isinstance(event, FaultTripped)] == [cause]
    assert truth.tip_mm > tip_um - 0.01
    assert repeated(run, tmp_path).difference is None


def test_after_standing_still_the_source_does_not_come_back_by_itself(tmp_path: Path) -> None:
    """A process stopped for two seconds and let go on: the heartbeat would close the contact again."""
    run = VirtualRun(tmp_path, "status", "biased")
    run.until_phase("erode")
    truth = run.wired.plant.truth
    run.tick(wait_s=2.0)
    assert not truth.live
    lives = []
    while not run.session.over:
        run.tick()
        lives.append(truth.live)
    assert not any(lives)
    assert [event.cause for event in run.events if isinstance(event, FaultTripped)] == ["host stood still"]


def test_problems_found_at_connecting_are_named_and_nothing_is_switched(tmp_path: Path) -> None:
    run = VirtualRun(tmp_path, "status", faults=["idle-lock@t:0s"])
    run.to_end()
    assert not run.session.driving
    assert [problem.name for problem in run.session.unfit]
    assert all(problem.remedy for problem in run.session.unfit)
    assert "PhaseChanged" not in run.kinds


@pytest.mark.parametrize(("times", "ends"), [(1, False), (3, True)])
def test_a_travel_whose_line_is_refused_is_made_again_or_the_run_ends_saying_so(
    tmp_path: Path, times: int, ends: bool
) -> None:
    """A byte spoilt on the wire of a `status` board gives `error:N`; nothing may go down in a wrong place."""
    run, left = VirtualRun(tmp_path, "status", "biased"), times
    hear = run.wired.motion.receive

    def spoil(wire: bytes) -> None:
        nonlocal left
        if left and b"G1 X" in wire:
            wire, left = wire.replace(b"G1 X", b"GI X"), left - 1
        hear(wire)

    run.wired.motion.receive = spoil  # type: ignore[method-assign]  # in the middle of the wire
    run.until(lambda: run.session.core.phase.value == "probe")
    causes = [event.cause for event in run.events if isinstance(event, FaultTripped)]
    assert causes == (["move not made"] if ends else [])
    assert "Noticed" in run.kinds


def test_no_heartbeat_edge_without_a_tick_of_the_core(tmp_path: Path) -> None:
    """While connecting nothing toggles the heartbeat pin; then once a tick. Pin writes: 0xF5 (wires.md)."""
    run = VirtualRun(tmp_path, "status")
    edges = []
    heard = run.wired.sampler.receive

    def listen(wire: bytes) -> None:
        edges.append(wire.count(b"\xf5\x06"))
        heard(wire)

    run.wired.sampler.receive = listen  # type: ignore[method-assign]  # listening in on the wire
    run.until(lambda: run.session.driving)
    connecting = edges[:-1]
    for _ in range(50):
        run.tick()
    assert sum(connecting) <= 1  # the pin is set low once
    assert edges[-50:] == [1] * 50
