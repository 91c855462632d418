"""What the core sees in one tick: only what the two wires can carry.

Nothing here may tell a real machine from a virtual one, and nothing here may be a truth that no wire delivers (the
gap, the tip length, the state of the water). A contract test holds the field list against the wires' own vocabulary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class BoardState(StrEnum):
    """What the motion board last said of itself."""

    READY = "ready"
    HOMING = "homing"
    ALARM = "alarm"
    LOST = "lost"


@dataclass(slots=True, init=False)
class Observation:
    """One tick's view of the machine.

    Positions are the host's estimate of what the board has *done* (from the step ledger), not of what was sent, in
    micrometres, machine frame, z up. They are axis positions: backlash and bending are not in them.

    Args:
        time_s: Time of the tick since the run began.
        samples: Raw 10-bit readings of the gap pin, 0..1023 for 0..5 V, 1 ms apart, oldest first; may be empty.
        sampler_age_s: Time since the last sample arrived.
        contact_open: Mirror contact of the source contact: True when the source is proven away from the electrode.
        flow: Flow switch: water runs.
        stop_pressed: Copy of the hard-wired stop.
        guard_closed: Copy of the guard switch.
        level_ok: Tank level switch.
        x_um: Axis position, x.
        y_um: Axis position, y.
        z_um: Axis position, z (the holder's face; up is positive).
        queued: Moves sent to the board and not yet done.
        board: The board's own state.
        homed: True when the axis positions are referenced.
        seeking: Letters of the axes whose switches the board looks for, as far as the wire tells; kept when homing has
            failed, empty when it went well.
    """

    time_s: float
    samples: Sequence[int]
    sampler_age_s: float
    contact_open: bool
    flow: bool
    stop_pressed: bool
    guard_closed: bool
    level_ok: bool
    x_um: float
    y_um: float
    z_um: float
    queued: int
    board: BoardState
    homed: bool
    seeking: str

    # Written out, since a generated one stays interpreted in a compiled build, and this one runs in every tick.
    def __init__(
        self,
        time_s: float,
        samples: Sequence[int],
        sampler_age_s: float,
        contact_open: bool,
        flow: bool,
        stop_pressed: bool,
        guard_closed: bool,
        level_ok: bool,
        x_um: float,
        y_um: float,
        z_um: float,
        queued: int,
        board: BoardState,
        homed: bool,
        seeking: str = "",
    ) -> None:
        self.time_s = time_s
        self.samples = samples
        self.sampler_age_s = sampler_age_s
        self.contact_open = contact_open
        self.flow = flow
        self.stop_pressed = stop_pressed
        self.guard_closed = guard_closed
        self.level_ok = level_ok
        self.x_um = x_um
        self.y_um = y_um
        self.z_um = z_um
        self.queued = queued
        self.board = board
        self.homed = homed
        self.seeking = seeking
