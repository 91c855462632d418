"""What each phase permits, against the project's frozen table, written out here a second time."""

from __future__ import annotations

import pytest

from controller.core.permissions import PERMISSIONS, Along, Sideways
from controller.core.phases import Phase

# The project's interfaces, "What each phase permits": source, sensing, water, sideways, along the path. Narrower than
# the table are `erode` (holes have no sideways path) and `short-recover` (its way down is taken in probe).
FROZEN = {
    "idle": (False, False, False, Sideways.CLEAR, Along.JOG),
    "probe": (False, True, False, Sideways.TOUCH, Along.BOTH),
    "approach": (True, False, True, Sideways.NO, Along.BOTH),
    "erode": (True, False, True, Sideways.NO, Along.BOTH),
    "retract": (True, False, True, Sideways.CLEAR, Along.BACK),
    "short-recover": (True, True, True, Sideways.NO, Along.BACK),
    "hold": (False, True, False, Sideways.NO, Along.BACK),
    "fault": (False, True, False, Sideways.NO, Along.NO),
    # Beside the frozen ones, for setting a machine up.
    "reference": (False, True, False, Sideways.NO, Along.NO),
    "commission": (True, True, True, Sideways.NO, Along.NO),
}


@pytest.mark.parametrize("phase", Phase)
def test_the_permissions_are_the_frozen_table(phase: Phase) -> None:
    """Every phase permits what the frozen table says, output by output and direction by direction."""
    row = PERMISSIONS[phase]
    assert (row.source, row.sensing, row.water, row.sideways, row.along) == FROZEN[phase.value]


def test_every_phase_has_a_row() -> None:
    """No phase is without permissions, and none is made up."""
    assert {phase.value for phase in PERMISSIONS} == set(FROZEN)


def test_only_phases_that_feed_forward_have_a_forward_speed() -> None:
    """Retract, short-recover, hold and fault have none."""
    assert [phase.value for phase, row in PERMISSIONS.items() if row.forward_um_s == 0.0] == [
        "retract",
        "short-recover",
        "hold",
        "fault",
        "reference",
        "commission",
    ]
