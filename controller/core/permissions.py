"""What each phase permits: the frozen table of the project's interfaces, as rows that the interlocks read."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from controller.core.phases import Phase


class Sideways(StrEnum):
    """Sideways motion a phase permits."""

    NO = "no"
    CLEAR = "at clear height, source off"
    TOUCH = "at touch speed"


class Along(StrEnum):
    """Motion along the path (for a hole: down is forward) a phase permits."""

    NO = "none"
    JOG = "either way, source off"
    BACK = "back only"
    BOTH = "forward and back"


@dataclass(slots=True, frozen=True)
class Permission:
    """One row: may the source, sensing feed and water be on, and what may move how fast forward (µm/s)."""

    source: bool
    sensing: bool
    water: bool
    sideways: Sideways
    along: Along
    forward_um_s: float


# Chosen so that a tip that meets metal a full 35 ms (the worst retract latency asked of the wires) after the decision
# has gone no further than a thin rod's elastic bending takes (about 50 µm).
TOUCH_SPEED_UM_S: Final = 1500.0
# Chosen so that 30 ms of reaction at this speed is a tenth of a usual gap (10–100 µm, references §3).
APPROACH_SPEED_UM_S: Final = 250.0
# Back to a front that was left a moment ago, along the way that was free then, the approach may go as fast as 30 ms
# of reaction within the last, slow stretch allow (`RETURN_ROOM_UM` in cycles/drill.py). Chosen so.
RETURN_SPEED_UM_S: Final = 1500.0
# Chosen so that the free run after breakthrough, the fastest thing the servo does, still stops within one gap.
SERVO_SPEED_UM_S: Final = 500.0
JOG_SPEED_UM_S: Final = 1.0e9  # jogging and travel are bounded by the machine file's top speeds

PERMISSIONS: dict[Phase, Permission] = {
    Phase.IDLE: Permission(False, False, False, Sideways.CLEAR, Along.JOG, JOG_SPEED_UM_S),
    Phase.PROBE: Permission(False, True, False, Sideways.TOUCH, Along.BOTH, TOUCH_SPEED_UM_S),
    Phase.APPROACH: Permission(True, False, True, Sideways.NO, Along.BOTH, RETURN_SPEED_UM_S),
    Phase.ERODE: Permission(True, False, True, Sideways.NO, Along.BOTH, SERVO_SPEED_UM_S),
    Phase.RETRACT: Permission(True, False, True, Sideways.CLEAR, Along.BACK, 0.0),
    Phase.SHORT_RECOVER: Permission(True, True, True, Sideways.NO, Along.BACK, 0.0),
    Phase.HOLD: Permission(False, True, False, Sideways.NO, Along.BACK, 0.0),
    Phase.FAULT: Permission(False, True, False, Sideways.NO, Along.NO, 0.0),
}
