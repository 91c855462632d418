"""Time lost to drop-outs of the source, by the truth.

What is lost. While the source is away nobody can erode: that time is the source's, not lost. Lost is the time in which
the source is back, the gap is not shorted and nothing sparks, because the tip was lifted or held back for a low that
was a drop-out. Precisely:

- A *low* begins when the source's output goes away with the gap neither touching nor bridged. A low over a short, or
  one during which a short comes, is none of ours.
- It is *answered* when the axis is lifted before the output has been back for `SHORTLY_S`, or later with no spark
  since the output came back.
- From the answer on, all time counts as lost in which the output is up and the gap is open (no discharge within a
  tenth of a second, see `sim.erosion`), and all time in which the source contact is open (the ladder has led out of the
  hole). Counting ends when the axis is back where it was when the low began (play and all, to a motor step), when a
  true short comes, or when the hole is left for good.
- A low that is not answered by a lift may be answered by *holding*: no feed though the gap stands open. The time from
  the output's return to the next forward step is lost when it is longer than `PROMPT_S`; it is none when a spark comes
  first, for then the tip stood where it had to.

Erode time is the time with the source on the electrode from a hole's first spark until the hole is left, the lost time
out of the hole added.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from controller.core.events import Event, HoleFinished, HoleStarted, PhaseChanged
from controller.core.observation import Observation
from sim.state import TrueState

# A lift that begins this long after the output came back may still be an answer to the low: the sampler's window, a
# tick and the board's first step are some 30 ms (wires.md), doubled and more. Chosen.
SHORTLY_S = 0.1
# A servo that goes on at 60 um/s makes its next motor step (2.5 um) within this. Chosen.
PROMPT_S = 0.05
# Back where it was: within a motor step of the default machine.
BACK_UM = 2.5


@dataclass(slots=True)
class Loss:
    """Sums over a run (s), and how many lows there were and were answered."""

    erode_s: float = 0.0
    away_s: float = 0.0
    lost_s: float = 0.0
    held_s: float = 0.0
    lows: int = 0
    lifts: int = 0

    @property
    def share(self) -> float:
        """Lost by lifting and holding, over the erode time."""
        return (self.lost_s + self.held_s) / self.erode_s if self.erode_s else 0.0


class DropOutWatch:
    """Adds up what drop-outs cost; see the head of this file."""

    def __init__(self, truth: TrueState, tick_s: float) -> None:
        self.loss = Loss()
        self._truth, self._tick_s = truth, tick_s
        self._sparks = 0
        self._begun = False
        self._z_um = 0.0
        self._shorted = self._in_hole = False
        self._forget()

    def look(self, seen: Observation, events: Sequence[Event]) -> None:
        """Look at one tick."""
        erosion = self._truth.erosion
        sparked, self._sparks = erosion.sparks > self._sparks, erosion.sparks
        before_um, self._z_um = self._z_um, seen.z_um
        self._begun = self._begun or (sparked and self._in_hole)
        if self._begun:
            self._tick(sparked, before_um)
        for event in events:
            self._heed(event)

    def _heed(self, event: Event) -> None:
        left = isinstance(event, PhaseChanged) and event.trigger == "withdraw" and event.before in ("erode", "approach")
        if isinstance(event, HoleStarted):
            self._in_hole = True
        elif left or isinstance(event, HoleFinished):
            self._in_hole = self._begun = False
            self._forget()

    def _forget(self) -> None:
        """No low, no answer."""
        self._low_z_um = self._peak_um = -inf
        self._low = self._lifted = False
        self._back_s = self._wait_s = 0.0
        self._quiet = True

    def _tick(self, sparked: bool, before_um: float) -> None:
        truth, loss = self._truth, self.loss
        opened, sparking, shorted, off = truth.shares_s if truth.live else (self._tick_s, 0.0, 0.0, 0.0)
        loss.erode_s += self._tick_s if truth.live else 0.0
        loss.away_s += off
        if truth.live and (shorted or truth.erosion.in_contact or truth.erosion.bridged):
            self._shorted = True
            self._forget()
            return
        if truth.live and not off and (opened or sparking):
            self._shorted = False
        if self._shorted:
            return
        if off and not self._low:
            self._begin(before_um)
        if self._low:
            self._follow(sparked, self._z_um - before_um, opened, off)

    def _begin(self, z_um: float) -> None:
        self._forget()
        self._low = True
        self._low_z_um = z_um
        self.loss.lows += 1

    def _follow(self, sparked: bool, went_um: float, opened: float, off: float) -> None:
        """One tick since a drop-out began."""
        self._back_s = 0.0 if off else self._back_s + self._tick_s
        self._quiet = not sparked if off else self._quiet and not sparked
        if went_um > 0.0 and not self._lifted and (self._back_s <= SHORTLY_S or self._quiet):
            self._lifted = True
            self.loss.lifts += 1
            self.loss.lost_s += self._wait_s
        if self._lifted:
            self._count_lifted(opened)
        else:
            self._count_held(went_um, opened)

    def _count_lifted(self, opened: float) -> None:
        self._peak_um = max(self._peak_um, self._z_um)
        self.loss.lost_s += opened
        if not self._truth.live:
            self.loss.erode_s += self._tick_s
        if self._low_z_um + BACK_UM >= self._z_um < self._peak_um:
            self._forget()

    def _count_held(self, went_um: float, opened: float) -> None:
        self._wait_s = self._wait_s + opened if self._quiet else 0.0
        fed = went_um < 0.0 and self._back_s > 0.0
        if fed and self._wait_s > PROMPT_S:
            self.loss.held_s += self._wait_s
        if fed or (not self._quiet and self._back_s > SHORTLY_S):
            self._forget()
