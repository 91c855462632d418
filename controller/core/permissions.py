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
    """One row: may the source, sensing feed and water be on, and what may move how fast forward (µm/s).

    Args:
        source, sensing, water: May be on.
        sideways, along, forward_um_s: What may move.
        closes: The source contact may be closed here; elsewhere it may at most be still on.
        homing: The axes may be referenced.
        dry_s: For how long the source may stand on a clear electrode without water and without removal (s).
        withholds: The heartbeat may be withheld on purpose.
    """

    source: bool
    sensing: bool
    water: bool
    sideways: Sideways
    along: Along
    forward_um_s: float
    closes: bool = False
    homing: bool = False
    dry_s: float = 0.0
    withholds: bool = False


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
# How long the source may stand on an electrode that is clear of everything, dry, for its fingerprint: what the
# project's plan of commissioning grants. There is nothing to etch and no gap to burn in.
FINGERPRINT_S: Final = 60.0

PERMISSIONS: dict[Phase, Permission] = {
    Phase.IDLE: Permission(False, False, False, Sideways.CLEAR, Along.JOG, JOG_SPEED_UM_S, homing=True),
    Phase.PROBE: Permission(False, True, False, Sideways.TOUCH, Along.BOTH, TOUCH_SPEED_UM_S),
    Phase.APPROACH: Permission(True, False, True, Sideways.NO, Along.BOTH, RETURN_SPEED_UM_S, closes=True),
    Phase.ERODE: Permission(True, False, True, Sideways.NO, Along.BOTH, SERVO_SPEED_UM_S),
    Phase.RETRACT: Permission(True, False, True, Sideways.CLEAR, Along.BACK, 0.0, homing=True),
    Phase.SHORT_RECOVER: Permission(True, True, True, Sideways.NO, Along.BACK, 0.0),
    Phase.HOLD: Permission(False, True, False, Sideways.NO, Along.BACK, 0.0),
    Phase.FAULT: Permission(False, True, False, Sideways.NO, Along.NO, 0.0),
    # Referencing axes nobody has tried yet: sensing on, so that a tip that goes down instead of up is stopped by what
    # it meets.
    Phase.REFERENCE: Permission(False, True, False, Sideways.NO, Along.NO, 0.0, homing=True),
    # Nothing moves; each output is tried by itself, the source on a clear electrode and dry.
    Phase.COMMISSION: Permission(
        True, True, True, Sideways.NO, Along.NO, 0.0, closes=True, dry_s=FINGERPRINT_S, withholds=True
    ),
}
