"""A crude machine for closed loops in tests: geometry, switches with delays, and sparks by rule. No plant, no noise.

It knows nothing of the core but its commands. What it shows is fast on purpose, so that a whole job takes some thousand
ticks: a spark removes micrometres at once, axes have no acceleration, homing takes a fraction of a second.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from math import dist, inf

from controller.core.commands import Command, Halt, Home, Move, Output, Switch
from controller.core.observation import BoardState, Observation

TICK_S = 0.01
HIGH, LOW, FULL = 614, 0, 1023  # counts: 3 V clamp plateau, metal, the open sensing feed (electrics.md)
WET = 198  # counts: a wet gap at 500 µS/cm on the sensing feed, 0.97 V (electrics.md)
CONTACT_TICKS, FLOW_TICKS, HOME_TICKS = 2, 20, 20
SPARK_GAP_UM = 60.0
TOP_UM = 0.0


class CrudeMachine:
    """One tick at a time: `observe`, then `carry_out` what the core answered.

    Args:
        tip_mm: How far the electrode really stands out.
        face_mm: True height of the work's face (flat), machine frame; the reference plate is at -60 mm.
        thickness_mm: Of the work; None makes it bottomless, so that no hole ever gets through.
        stuck_at: Depth below the face (µm) where the electrode welds itself on, once; None for never.

    Attributes:
        stuck: the electrode is in contact, wherever it stands.
        tears_z_um: height of the axis at which such a contact tears off by itself.
        film_um: so much water stands above the front in a hole, and does not run off.
        away_ticks: for so many live ticks more the source drops out.
    """

    def __init__(
        self,
        tip_mm: float = 44.3,
        face_mm: float = -60.4,
        thickness_mm: float | None = 1.0,
        stuck_at: float | None = None,
        play_um: float = 40.0,
    ) -> None:
        self.tip_um = tip_mm * 1000.0
        self.face_um = face_mm * 1000.0
        self.through_um = thickness_mm * 1000.0 if thickness_mm is not None else 1e9
        self.stuck_at = stuck_at
        self.stuck = False
        self.tears_z_um = inf
        self.film_um = 0.0
        self.away_ticks = 0
        self.play_um = play_um
        self.on = dict.fromkeys(Output, False)
        self.at = [100_000.0, 100_000.0, -20_000.0]
        self.carried_um = self.at[2]
        self.depth_um: dict[tuple[int, int], float] = {}
        self.tick = 0
        self._closed_ticks = self._flow_ticks = self._home_ticks = 0
        self._moves: deque[Move] = deque()
        self.homed = False

    @property
    def tip_z_um(self) -> float:
        """True height of the tip."""
        return self.carried_um - self.tip_um

    @property
    def gap_um(self) -> float:
        """From the tip to the metal below it."""
        if dist(self.at[:2], (10_000.0, 10_000.0)) < 8_000.0:
            return self.tip_z_um + 60_000.0
        depth_um = self.depth_um.get(self._place(), 0.0)
        return 1e6 if depth_um >= self.through_um else self.tip_z_um - (self.face_um - depth_um)

    def observe(self) -> Observation:
        """Let a tick pass and tell what the wires would."""
        self.tick += 1
        self._move()
        self._closed_ticks = self._closed_ticks + 1 if self.on[Output.SOURCE] else 0
        self._flow_ticks = self._flow_ticks + 1 if self.on[Output.WATER] else 0
        board = BoardState.READY
        if self._home_ticks:
            self._home_ticks -= 1
            self.homed = not self._home_ticks
            board = BoardState.READY if self.homed else BoardState.HOMING
        return Observation(
            time_s=self.tick * TICK_S,
            samples=self._samples(),
            sampler_age_s=0.001,
            contact_open=self._closed_ticks < CONTACT_TICKS,
            flow=self._flow_ticks >= FLOW_TICKS,
            stop_pressed=False,
            guard_closed=True,
            level_ok=True,
            x_um=self.at[0],
            y_um=self.at[1],
            z_um=self.at[2],
            queued=len(self._moves) + (self._home_ticks > 0),
            board=board,
            homed=self.homed,
        )

    def carry_out(self, commands: Sequence[Command]) -> None:
        """Take the core's commands."""
        for command in commands:
            if isinstance(command, Switch):
                self.on[command.output] = command.on
            elif isinstance(command, Move):
                self._moves.append(command)
            elif isinstance(command, Halt):
                self._moves.clear()
            elif isinstance(command, Home):
                self._moves.clear()
                self._home_ticks, self.homed = HOME_TICKS, False
                self.at, self.carried_um = [0.0, 0.0, TOP_UM], TOP_UM

    def free(self) -> None:
        """What hands would do about a welded electrode."""
        self.stuck = False

    def _place(self) -> tuple[int, int]:
        return round(self.at[0] / 100.0), round(self.at[1] / 100.0)

    def _move(self) -> None:
        left_s = TICK_S
        while self._moves and left_s > 0.0:
            move = self._moves[0]
            target = (move.x_um, move.y_um, move.z_um)
            length = dist(self.at, target)
            share = min(1.0, move.speed_um_s * left_s / length) if length else 1.0
            self.at = [a + share * (t - a) for a, t in zip(self.at, target, strict=True)]
            # Down, the holder stands where its axis does; up, it trails by the play.
            self.carried_um = min(max(self.carried_um, self.at[2] - self.play_um), self.at[2])
            left_s -= length / move.speed_um_s if share == 1.0 else left_s
            if share == 1.0:
                self._moves.popleft()
        self.stuck = self.stuck and self.at[2] < self.tears_z_um

    def _samples(self) -> list[int]:
        if self.on[Output.SENSING]:
            return [self._sensed()] * 10
        if self._closed_ticks < CONTACT_TICKS:
            return [LOW] * 10
        if self.away_ticks:
            self.away_ticks -= 1
            return [LOW] * 10
        gap_um = self.gap_um
        if self.stuck or gap_um <= 0.0:
            return [LOW] * 10
        return self._spark() if gap_um < SPARK_GAP_UM else [HIGH] * 10

    def _sensed(self) -> int:
        if self.gap_um <= 0.0 or self.stuck:
            return LOW
        return WET if self.gap_um < self.film_um and self._place() in self.depth_um else FULL

    def _spark(self) -> list[int]:
        """One spark: 4 µm off the front, a tenth of that off the electrode. The nearer, the less time at high level."""
        place, low = self._place(), 4 + int(4.0 * (1.0 - self.gap_um / SPARK_GAP_UM))
        depth_um = self.depth_um[place] = self.depth_um.get(place, 0.0) + 4.0
        self.tip_um -= 0.4
        if self.stuck_at is not None and depth_um >= self.stuck_at:
            self.stuck, self.stuck_at = True, None
        return [HIGH] * (8 - low) + [LOW] * low + [HIGH] * 2
