"""An independent watch over the core's commands.

It is the table "What each phase permits" of the project's interfaces and the switching rules of its electrical page,
written a second time, without a look at the interlocks. Feed it every tick; it collects breaches in words.
"""

from __future__ import annotations

from collections.abc import Sequence

from controller.core.commands import Command, Halt, Home, Move, Output, Switch
from controller.core.conductor import TickOutput
from controller.core.events import PhaseChanged, Proven, RunEnded
from controller.core.observation import Observation
from controller.settings.machine import Machine

# Where each output may be on. Water runs on in hold and fault until the contact is proven open (cold order: source,
# read-back, then water).
SOURCE_IN = {"approach", "erode", "retract", "short-recover"}
SENSING_IN = {"probe", "short-recover", "hold", "fault"}
WATER_IN = {"approach", "erode", "retract", "short-recover"}
WATER_AFTER = {"hold", "fault"}
FORWARD_IN = {"probe", "approach", "erode"}
JOG_IN = {"idle"}
SIDEWAYS_IN = {"idle", "retract"}
# A step of the coarsest axis (12.5 µm) and rounding: chosen so that rounding is no breach.
ROUNDING_UM = 15.0
TICK_S = 0.01
TOUCH_SPEED_UM_S = 1500.0  # "touch speed" of the table, as this project chose it
LOW_COUNTS = 307  # 1.5 V: half of the clamp's plateau (electrics.md)
PROVEN_FOR_S = 120.0  # a proof is of here and now: homing, prompts and travel make it stale long before. Chosen so.


class Monitor:
    """Collects breaches; `phase` is rebuilt from the events alone."""

    def __init__(self, machine: Machine) -> None:
        self.breaches: list[str] = []
        self.phase = "idle"
        self.on = dict.fromkeys(Output, False)
        self._low = [mm * 1000.0 - ROUNDING_UM for mm in machine.axes.travel_min_mm]
        self._high = [mm * 1000.0 + ROUNDING_UM for mm in machine.axes.travel_max_mm]
        self._changed_s = dict.fromkeys(Output, -1e9)
        self._here: tuple[float, float, float] | None = None
        self._halted_from: tuple[float, float, float] | None = None
        self._proven_s: float | None = None
        self._stopped = False
        self._ended = False
        self._live_dry_s = self._live_idle_s = self._quiet_s = 0.0

    def watch(self, seen: Observation, out: TickOutput) -> None:
        """One tick: what was seen, and what the core made of it."""
        # The water alone may still be stopped: it has to wait for the source contact to be proven open.
        asked = [command for command in out.commands if command != Switch(Output.WATER, on=False, hot=True)]
        if self._ended and (asked or out.events):
            self._breach(seen, "something was asked or told after the end of the run")
        self._stopped = self._stopped or seen.stop_pressed
        open_gap = not seen.contact_open and bool(seen.samples) and min(seen.samples) >= LOW_COUNTS
        self._quiet_s = self._quiet_s + TICK_S if open_gap else 0.0
        for event in out.events:
            if isinstance(event, PhaseChanged):
                self.phase = event.after
            self._ended = self._ended or isinstance(event, RunEnded)
            if isinstance(event, Proven):
                self._proven_s = event.time_s
        for command in out.commands:
            self._judge(command, seen)
        self._standing(seen)
        self._live(seen)

    def _breach(self, seen: Observation, words: str) -> None:
        self.breaches.append(f"{seen.time_s:.2f} s, {self.phase}: {words}")

    def _judge(self, command: Command, seen: Observation) -> None:
        if isinstance(command, Switch):
            self._switch(command, seen)
        elif isinstance(command, Move):
            self._move(command, seen)
        elif isinstance(command, Halt):
            # It stands where it is reported or, sideways, where it was last sent: reports may be spoiled.
            self._halted_from, self._here = self._here, None
        elif isinstance(command, Home):
            self._here = None
            if self.phase not in SIDEWAYS_IN or self.on[Output.SOURCE] or self._stopped:
                self._breach(seen, "homing")

    def _switch(self, switch: Switch, seen: Observation) -> None:
        if switch.on and self._stopped:
            self._breach(seen, f"{switch.output} on after stop")
        if switch.output is Output.SOURCE and switch.on:
            self._source_on(seen)
        if switch.output is Output.SOURCE and not switch.on and self.on[Output.SOURCE]:
            if not (self._ended or self.phase == "fault") and (seen.queued or self._quiet_s < 0.05 - 1e-9):
                self._breach(seen, "source opened with moves in the queue or the gap not open for 50 ms")
            if switch.hot and not (self._ended or self.phase == "fault"):
                self._breach(seen, "source opened hot without a fault")
        soon = seen.time_s - self._changed_s[Output.SOURCE] < 0.05 - 1e-9
        if switch.output is Output.SENSING and switch.on and (soon or not seen.contact_open):
            self._breach(seen, "sensing less than 50 ms after the source, or with its contact closed")
        if self.on[switch.output] != switch.on:
            self.on[switch.output] = switch.on
            self._changed_s[switch.output] = seen.time_s

    def _source_on(self, seen: Observation) -> None:
        if self.phase != "approach":
            self._breach(seen, "source closed")
        if self._proven_s is None or seen.time_s - self._proven_s > PROVEN_FOR_S:
            self._breach(seen, "source closed without a proof of isolation and an open gap")
        if seen.time_s - self._changed_s[Output.SENSING] < 0.05 - 1e-9:
            self._breach(seen, "source closed less than 50 ms after the sensing feed opened")
        if not (self.on[Output.WATER] and seen.flow):
            self._breach(seen, "source closed without confirmed flow")
        self._proven_s = None

    def _move(self, move: Move, seen: Observation) -> None:
        target = (move.x_um, move.y_um, move.z_um)
        here = self._here or (seen.x_um, seen.y_um, seen.z_um)
        self._here = target
        if not all(low <= at <= high for low, at, high in zip(self._low, target, self._high, strict=True)):
            self._breach(seen, f"move outside the travel: {target}")
        down_um = here[2] - target[2]
        forward_ok = self.phase in FORWARD_IN or (self.phase in JOG_IN and not self.on[Output.SOURCE])
        if down_um > ROUNDING_UM and (self._ended or not forward_ok):
            self._breach(seen, f"forward by {down_um:.1f} µm")
        starts = [here, self._halted_from or here]
        self._halted_from = None
        sideways_um = min(abs(target[0] - x_um) + abs(target[1] - y_um) for x_um, y_um, _ in starts)
        probing = self.phase == "probe" and move.speed_um_s <= TOUCH_SPEED_UM_S
        sideways_ok = (self.phase in SIDEWAYS_IN or probing) and not self.on[Output.SOURCE] and not self._ended
        if sideways_um > ROUNDING_UM and not sideways_ok:
            self._breach(seen, f"sideways by {sideways_um:.1f} µm")
        if self._stopped:
            self._breach(seen, "motion after stop")

    def _standing(self, seen: Observation) -> None:
        """What is on at the end of the tick must be permitted in the phase that the tick ended in."""
        if self.on[Output.SOURCE] and (self.phase not in SOURCE_IN or self._stopped or self._ended):
            self._breach(seen, "source on")
        if self.on[Output.SENSING] and (self.phase not in SENSING_IN or self._ended):
            self._breach(seen, "sensing on")
        if self.on[Output.SENSING] and self.on[Output.SOURCE]:
            self._breach(seen, "source and sensing on together")
        waiting = self.phase in WATER_AFTER and not seen.contact_open
        if self.on[Output.WATER] and not waiting and (self.phase not in WATER_IN or self._ended):
            self._breach(seen, "water on")

    def _live(self, seen: Observation) -> None:
        """Live without flow at most 0.5 s, live with no removal at most 10 s (the project's interfaces)."""
        live = self.on[Output.SOURCE] and not seen.contact_open
        self._live_dry_s = self._live_dry_s + TICK_S if live and not seen.flow else 0.0
        high = bool(seen.samples) and min(seen.samples) > 590
        self._live_idle_s = self._live_idle_s + TICK_S if live and high else 0.0
        if self._live_dry_s > 0.5:
            self._breach(seen, "live without flow for more than 0.5 s")
        if self._live_idle_s > 10.0:
            self._breach(seen, "live with no removal for more than 10 s")


def rebuilt(rows: Sequence[dict[str, object]]) -> list[str]:
    """The phases one after another, from the journal rows of PhaseChanged alone."""
    return ["idle", *(str(row["after"]) for row in rows if row["kind"] == "PhaseChanged")]
