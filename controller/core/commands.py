"""What the core asks of the machine: six kinds of command, nothing else crosses the seam.

A tick's commands are carried out in the order given. The heartbeat is no command: the world issues one edge for every
tick that the core completed, unless that tick withholds it on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Output(StrEnum):
    """The switched outputs of the sampler board."""

    SOURCE = "source"
    SENSING = "sensing"
    WATER = "water"


@dataclass(slots=True, init=False)
class Move:
    """Go in a straight line to an absolute axis position (micrometres, machine frame, z up).

    Moves queue in the order sent. A world rounds the *target* to whole motor steps, so rounding never accumulates.
    `urgent` marks a retract: the world writes it so that it starts at once (nothing may be queued ahead of it).
    """

    x_um: float
    y_um: float
    z_um: float
    speed_um_s: float
    urgent: bool

    # Written out, and not frozen, for the same reason as the observation's: it runs many times a second.
    def __init__(self, x_um: float, y_um: float, z_um: float, speed_um_s: float, urgent: bool = False) -> None:
        self.x_um = x_um
        self.y_um = y_um
        self.z_um = z_um
        self.speed_um_s = speed_um_s
        self.urgent = urgent


@dataclass(slots=True, frozen=True)
class Switch:
    """Turn one output on or off. `hot` says that the source contact may open under current (stop and fault only)."""

    output: Output
    on: bool
    hot: bool = False


@dataclass(slots=True, frozen=True)
class Turn:
    """Turn the spindle at a speed in revolutions a minute; 0 stops it."""

    rev_min: float


@dataclass(slots=True, frozen=True)
class Home:
    """Reference all axes on their switches, z first. Positions are known again once `Observation.homed` is true."""


@dataclass(slots=True, frozen=True)
class Halt:
    """Stop motion as fast as the board can and drop what is queued; the position stays known."""


@dataclass(slots=True, frozen=True)
class Withhold:
    """No heartbeat edge with this tick: commissioning starves the fail-safe gate, to see what it does."""


Command = Move | Switch | Turn | Home | Halt | Withhold
