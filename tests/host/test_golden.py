"""Golden captures: repeated byte by byte and event by event. `make golden` makes them anew."""

from __future__ import annotations

import pytest

from controller.core.phases import Phase
from controller.host.capture import Capture
from controller.host.replay import Repeated, replay, session_of
from tests.host.golden import FOLDER, GOLDEN, SUFFIX

ENDS = {
    "status-clamp-hole": "complete",
    "ack-biased-interrupted": "held",
    "status-divider-pulled": "fault",
    "ack-divider-reset": "fault",
}


@pytest.mark.parametrize("name", GOLDEN)
def test_a_golden_capture_is_repeated_to_the_last_event(name: str) -> None:
    capture, done = Capture(FOLDER / f"{name}{SUFFIX}"), Repeated()
    for step in replay(capture):
        done = step
    assert done.difference is None
    assert done.ticks > 1000
    rows = [row for *_, events in capture.ticks() for row in events]
    assert done.events == len(rows)
    (ended,) = [row for row in rows if "outcome" in row and "reason" in row and "hole" not in row]
    assert ended["outcome"] == ENDS[name]


def test_a_sample_changed_in_the_middle_of_the_sparks_is_found() -> None:
    """The check can fail: the gap's level turned round for a tenth of a second."""
    capture = Capture(FOLDER / f"status-clamp-hole{SUFFIX}")
    session, eroded = session_of(capture.start), 0
    for look, board, sampler, _ in capture.ticks():
        eroded += session.driving and session.core.phase is Phase.ERODE
        if 100 <= eroded < 110:
            look.sampler = b"\xe0\x00\x00" * 10
        outcome = session.look(look)
        if (outcome.board, outcome.sampler) != (board, sampler):
            break
    else:
        pytest.fail("nothing came of it")
    assert eroded >= 100
