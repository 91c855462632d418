"""The tip pressed on metal that is not eroded: roughness met anew with every touch, a rod that gives way for good."""

from __future__ import annotations

from math import inf
from typing import Final

from sim.electrode import ElectrodeTruth
from sim.random import Draws

# A tip this far from metal starts a new touch, with a roughness of its own. Chosen.
NEW_TOUCH_UM: Final = 100.0
# A tip that has let go of a plate by this much touches another peak of its roughness next time. Chosen: a few peaks.
LET_GO_UM: Final = 15.0


class Press:
    """One tip on one place of metal after the other.

    Args:
        electrode: What bends.
        crash_um: Pressed further than this the rod bends for good.
        draws: The touches' own stream.

    Attributes:
        crashes: Times that the rod was bent, each crash counted once however many pieces of time it takes.
    """

    __slots__ = (
        "_bending",
        "_crash_um",
        "_draws",
        "_electrode",
        "_nearest_um",
        "_pressed_um",
        "_roughness_um",
        "crashes",
    )

    def __init__(self, electrode: ElectrodeTruth, crash_um: float, draws: Draws) -> None:
        self._electrode = electrode
        self._crash_um = crash_um
        self._draws = draws
        self._roughness_um = self._pressed_um = 0.0
        self._nearest_um = inf
        self._bending = False
        self.crashes = 0

    def on(self, gap_um: float, scatter_um: float, *, lets_go: bool) -> float:
        """The gap (um, negative when pressed on) to metal whose peaks scatter so; too hard a press bends the rod.

        With `lets_go` a tip that came off by a few peaks meets others next time, without leaving altogether.
        """
        if gap_um > NEW_TOUCH_UM:
            self._roughness_um = inf
            self._bending = False
            return gap_um
        if self._roughness_um == inf or (lets_go and gap_um > LET_GO_UM > self._nearest_um):
            self._roughness_um = scatter_um * self._draws.normal()
            self._pressed_um = 0.0
        self._nearest_um = gap_um
        gap_um += self._roughness_um
        beyond_um = -gap_um - self._crash_um
        if beyond_um > self._pressed_um:
            self.bend(beyond_um - self._pressed_um)
            self._pressed_um = beyond_um
        return gap_um

    def bend(self, by_um: float) -> None:
        """The rod gives way by `by_um`, for good."""
        self._electrode.bend_um += by_um
        self.crashes += not self._bending
        self._bending = True

    def elsewhere(self) -> None:
        """Over another place: what comes next is a crash of its own."""
        self._bending = False
