"""The interlocks: every command is checked against the phase; the servo proposes, the phase disposes.

A refused command is a fault of the program, so it ends in the fault phase with the command and the reason named. The
host is not the safety device: the hard-wired stop and the fail-safe gate stand behind all of this.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from controller.core.commands import Command, Halt, Home, Move, Output, Switch, Turn, Withhold
from controller.core.observation import BoardState, Observation
from controller.core.permissions import PERMISSIONS, Along, Permission, Sideways
from controller.core.phases import Phase
from controller.plan.keep_outs import Obstacle
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM

# Break-before-make between source and sensing feed, and the open gap before a cold opening (electrics.md).
BREAK_BEFORE_MAKE_S: Final = 0.05
GAP_OPEN_BEFORE_BREAK_S: Final = 0.05
# A contact that was told to close has done so by then: five times the release asked for (20 ms, electrics.md).
MAKE_MOST_S: Final = 0.1
# Feed may come in small moves: its mean over this time is what is limited. Two ticks of the slowest loop (50 Hz) and a
# useful move of the coarsest permitted axis (10 µm) fit into it at every phase's speed. Chosen so.
PACE_S: Final = 0.1
# Rounding of targets to motor steps must not look like a move beyond a limit.
ROUNDING_UM: Final = 15.0
# Why a touch is refused whose isolation was proven: the one refusal that is not the program's doing.
ISOLATION_GONE: Final = "the source contact has closed since isolation was proven"


# Phases in which the electrode is touched with, travels, or is not to move at all.
STILL_PHASES = (Phase.IDLE, Phase.PROBE, Phase.FAULT, Phase.REFERENCE, Phase.COMMISSION)


class Interlocks:
    """Knows what is switched and since when, and refuses what the phase, the wiring order or the travel forbid.

    Attributes:
        on: what the host last commanded for each output.
        since_s: when each output last changed.
        proven: isolation was proven since the source was last on.
        sensed_open: the gap was seen open on the sensing path since the source was last on.
        phase: the phase of the tick, for the guards.
        absent: somebody has switched the supply off at its isolator, and the pin has shown it: what a stuck contact
            leads to is no voltage, for as long as the pin goes on showing it.
        gap_open_s: how long the gap has now been open with the source on.
        clear_z_um: axis height at and above which the tip passes over everything.
        hot_openings: how often the source contact was opened under current.
        standing: what stands on table and work, for travel to keep clear of.
        reach_um: how far the tip reaches below the holder's face, at the most.
    """

    __slots__ = (
        "_anchor",
        "_anchored",
        "_credit_um",
        "_limits",
        "_paced_s",
        "absent",
        "clear_z_um",
        "gap_open_s",
        "hot_openings",
        "on",
        "phase",
        "play_um",
        "proven",
        "reach_um",
        "sensed_open",
        "sent",
        "since_s",
        "standing",
    )

    def __init__(self, machine: Machine) -> None:
        axes = machine.axes
        self._limits = tuple(
            (low * UM_PER_MM - ROUNDING_UM, high * UM_PER_MM + ROUNDING_UM)
            for low, high in zip(axes.travel_min_mm, axes.travel_max_mm, strict=True)
        )
        self.play_um = axes.backlash_um[2]
        self._anchor = (0.0, 0.0, 0.0)
        self._anchored: Phase | None = None
        self._credit_um = 0.0
        self._paced_s = -1e9
        self.on = dict.fromkeys(Output, False)
        self.since_s = dict.fromkeys(Output, -1e9)
        self.phase = Phase.IDLE
        self.absent = False
        self.proven = False
        self.sensed_open = False
        self.gap_open_s = 0.0
        self.clear_z_um = axes.travel_max_mm[2] * UM_PER_MM
        self.hot_openings = 0
        self.sent: tuple[float, float, float] | None = None
        self.standing: Sequence[Obstacle] = ()
        self.reach_um = 0.0

    def keep_clear(self, standing: Sequence[Obstacle], reach_um: float) -> None:
        """What travel must keep clear of from now on, with a tip that reaches so far below the holder's face."""
        self.standing, self.reach_um = standing, reach_um

    def check(self, command: Command, phase: Phase, seen: Observation) -> str | None:
        """Why the command must not be carried out, or None; an accepted command is taken as carried out."""
        permission = PERMISSIONS[phase]
        if isinstance(command, Move):
            return self._check_move(command, phase, permission, seen)
        if isinstance(command, Switch):
            return self._check_switch(command, phase, permission, seen)
        if isinstance(command, Home):
            return self._check_home(phase, permission)
        if isinstance(command, Halt):
            self.sent = None
            return None
        if isinstance(command, Withhold):
            return None if permission.withholds else f"the heartbeat is not withheld in {phase.value}"
        return self._check_turn(command, phase)

    @property
    def inspecting(self) -> bool:
        """Commissioning, with the source commanded off: what speaks against a job is what is to be found out here.

        In fault, too: where a commissioning goes on after a trip, the trip's condition may well last.
        """
        return self.phase in (Phase.COMMISSION, Phase.FAULT) and not self.on[Output.SOURCE]

    def unpermitted(self, phase: Phase) -> str | None:
        """The output that is on and may not be in this phase, or None; fault is entered to switch off."""
        permission = PERMISSIONS[phase]
        if phase is Phase.FAULT:
            return None
        if self.on[Output.SOURCE] and not permission.source:
            return "source"
        if self.on[Output.WATER] and not permission.water:
            return "water"
        return "sensing" if self.on[Output.SENSING] and not permission.sensing else None

    @staticmethod
    def _check_turn(turn: Turn, phase: Phase) -> str | None:
        # In hold a little turning is the last thing tried on a stuck electrode, the source isolated.
        return f"no turning in {phase.value}" if turn.rev_min and phase in STILL_PHASES else None

    def _check_home(self, phase: Phase, permission: Permission) -> str | None:
        if not permission.homing or self.on[Output.SOURCE]:
            return f"no homing in {phase.value}, nor anywhere with the source on"
        self.sent = None
        return None

    def _check_move(self, move: Move, phase: Phase, permission: Permission, seen: Observation) -> str | None:
        here = self.sent or (seen.x_um, seen.y_um, seen.z_um)
        target = (move.x_um, move.y_um, move.z_um)
        if phase is not self._anchored:
            self._anchored, self._anchor = phase, here
        self._anchor = (self._anchor[0], self._anchor[1], max(self._anchor[2], here[2]))
        refusal = (
            self._outside(target, seen)
            or self._sideways(here, move, phase, permission, seen)
            or self._along(here, move, phase, permission, seen)
        )
        if refusal is None:
            self.sent = target
            if here[2] - move.z_um > ROUNDING_UM and not self.on[Output.SOURCE]:
                # What was sensed open says nothing of a place further down.
                self.sensed_open = False
            if self._is_way(move):
                # A way that was permitted is made; smaller moves go on counting from where the last one ended.
                self._anchor = (move.x_um, move.y_um, self._anchor[2])
        return refusal

    def _is_way(self, move: Move) -> bool:
        """True when a move leads sideways by more than rounding, counted from the end of the last way."""
        return abs(move.x_um - self._anchor[0]) + abs(move.y_um - self._anchor[1]) > ROUNDING_UM

    def _outside(self, target: tuple[float, float, float], seen: Observation) -> str | None:
        if not seen.homed or seen.board is not BoardState.READY:
            return "the axes are not referenced"
        if self.within_travel(target):
            return None
        return f"({', '.join(f'{um / UM_PER_MM:.3f}' for um in target)}) mm is outside the travel"

    def within_travel(self, target: tuple[float, float, float]) -> bool:
        """True when the axes can go there (x, y, z in µm, machine frame)."""
        x, y, z = self._limits
        return x[0] <= target[0] <= x[1] and y[0] <= target[1] <= y[1] and z[0] <= target[2] <= z[1]

    def _sideways(
        self,
        here: tuple[float, float, float],
        move: Move,
        phase: Phase,
        permission: Permission,
        seen: Observation,
    ) -> str | None:
        if not self._is_way(move):
            return None
        rule = permission.sideways
        if rule is Sideways.NO:
            return f"no sideways motion in {phase.value}"
        if rule is Sideways.CLEAR:
            return self._travelling(here, move)
        return self._touching(move, permission, seen)

    def _touching(self, move: Move, permission: Permission, seen: Observation) -> str | None:
        if (refusal := self._no_touch(seen)) is not None:
            return refusal
        return None if move.speed_um_s <= permission.forward_um_s else "sideways faster than a touch"

    def _no_touch(self, seen: Observation) -> str | None:
        if not (self.proven and self.on[Output.SENSING]):
            return "no touch before isolation is proven and the sensing feed is on"
        return None if seen.contact_open else ISOLATION_GONE

    def _no_jog(self, seen: Observation) -> str | None:
        if self.on[Output.SOURCE]:
            return "no jogging with the source on"
        return None if seen.contact_open else ISOLATION_GONE

    def _travelling(self, here: tuple[float, float, float], move: Move) -> str | None:
        if self.on[Output.SOURCE]:
            return "no travel with the source on"
        if min(move.z_um, here[2]) < self.clear_z_um - ROUNDING_UM:
            return "no travel below the clear height"
        return self._through(here, move)

    def _through(self, here: tuple[float, float, float], move: Move) -> str | None:
        """Travel that would take the tip into something that stands there. Room beside it is the planning's affair."""
        tip_mm = (min(here[2], move.z_um) - self.reach_um) / UM_PER_MM
        way = (here[0] / UM_PER_MM, here[1] / UM_PER_MM), (move.x_um / UM_PER_MM, move.y_um / UM_PER_MM)
        met = next((each for each in self.standing if each.top_mm > tip_mm and each.crosses(*way)), None)
        return None if met is None else f"the way leads through keep-out {met.name!r}"

    def _along(
        self,
        here: tuple[float, float, float],
        move: Move,
        phase: Phase,
        permission: Permission,
        seen: Observation,
    ) -> str | None:
        down_um = here[2] - move.z_um
        rule = permission.along
        if rule is Along.NO:
            return f"no motion in {phase.value}"
        if rule is Along.BACK:
            # Against the highest place of the phase, for the same reason.
            return f"no forward feed in {phase.value}" if self._anchor[2] - move.z_um > ROUNDING_UM else None
        if down_um <= 0.0:
            return None
        if phase is Phase.PROBE and (refusal := self._no_touch(seen)) is not None:
            return refusal
        if rule is Along.JOG:
            return self._no_jog(seen)
        return self._paced(down_um, phase, permission, seen)

    def _paced(self, down_um: float, phase: Phase, permission: Permission, seen: Observation) -> str | None:
        """The host's clock makes the feed, so what is limited is distance over time, not the feed word.

        Taking up play moves the axis and not the tip: once after every way back, the play itself is free.
        """
        allowed_um = permission.forward_um_s * (seen.time_s - self._paced_s) + self._credit_um
        self._paced_s = seen.time_s
        self._credit_um = min(allowed_um, permission.forward_um_s * PACE_S + self.play_um)
        if down_um > self._credit_um:
            return f"forward faster than {permission.forward_um_s:.0f} µm/s in {phase.value}"
        self._credit_um -= down_um
        return None

    def _check_switch(self, switch: Switch, phase: Phase, permission: Permission, seen: Observation) -> str | None:
        refusal = {
            Output.SOURCE: self._source_on if switch.on else self._source_off,
            Output.SENSING: self._sensing_on if switch.on else self._allowed,
            Output.WATER: self._water_on if switch.on else self._water_off,
        }[switch.output](switch, phase, permission, seen)
        if refusal is None and self.on[switch.output] != switch.on:
            self.on[switch.output] = switch.on
            self.since_s[switch.output] = seen.time_s
            if switch.output is Output.SOURCE and switch.on:
                self.proven = self.sensed_open = False
                self.gap_open_s = 0.0
        return refusal

    @staticmethod
    def _allowed(_switch: Switch, _phase: Phase, _permission: Permission, _seen: Observation) -> str | None:
        return None

    def _source_on(self, _switch: Switch, phase: Phase, permission: Permission, seen: Observation) -> str | None:
        if not permission.closes:
            return f"the source does not close in {phase.value}"
        if not (self.proven and self.sensed_open):
            return "the source closes only after isolation was proven and the gap was sensed open"
        if self.on[Output.SENSING] or seen.time_s - self.since_s[Output.SENSING] < BREAK_BEFORE_MAKE_S:
            return "the sensing feed must be off for 50 ms before the source closes"
        if permission.dry_s:
            return self._dry_on(seen)
        if not (self.on[Output.WATER] and seen.flow):
            return "the source closes only with confirmed flow"
        return None

    def _dry_on(self, seen: Observation) -> str | None:
        """The source on an electrode that is clear of everything, without water, the guard shut."""
        if self.on[Output.WATER] or seen.flow:
            return "the source closes on a clear electrode without water only"
        if not seen.guard_closed or seen.stop_pressed:
            return "the source closes only with the guard shut and the stop released"
        if not seen.homed or seen.board is not BoardState.READY or seen.z_um < self.clear_z_um - ROUNDING_UM:
            return "the source closes without water at the clear height of referenced axes only"
        return None

    def _source_off(self, switch: Switch, phase: Phase, _permission: Permission, seen: Observation) -> str | None:
        if not self.on[Output.SOURCE]:
            return None
        if switch.hot:
            if phase is not Phase.FAULT:
                return "only a fault opens the source contact under current"
            self.hot_openings += 1
            return None
        return None if self._opened_by_itself(seen) else self._current_flows(seen)

    def _opened_by_itself(self, seen: Observation) -> bool:
        return seen.contact_open and seen.time_s - self.since_s[Output.SOURCE] > MAKE_MOST_S

    def _current_flows(self, seen: Observation) -> str | None:
        """Why current may flow through the contact, or may be about to; None when it does not."""
        if seen.queued:
            return "the source opens only when the board's queue is drained"
        if self.gap_open_s < GAP_OPEN_BEFORE_BREAK_S:
            return "the source opens only after the gap was open for 50 ms"
        return None

    def _sensing_on(self, _switch: Switch, phase: Phase, permission: Permission, seen: Observation) -> str | None:
        if not permission.sensing:
            return f"no sensing in {phase.value}"
        if self.on[Output.SOURCE]:
            return "no sensing while the source is on the electrode"
        if not seen.contact_open:
            return ISOLATION_GONE
        if seen.time_s - self.since_s[Output.SOURCE] < BREAK_BEFORE_MAKE_S:
            return "the source must be off for 50 ms before sensing"
        return None

    def _water_on(self, _switch: Switch, phase: Phase, permission: Permission, _seen: Observation) -> str | None:
        return None if permission.water else f"no water in {phase.value}"

    def _water_off(self, switch: Switch, _phase: Phase, _permission: Permission, seen: Observation) -> str | None:
        if switch.hot or self.absent or (not self.on[Output.SOURCE] and seen.contact_open):
            return None
        return "the water stops only after the source contact is proven open"
