"""Three axes behind a motion board: a queue of blocks, whole motor steps, lost motion, stick-slip, hard ends.

Three positions must be kept apart. The *ledger* is what board and host count: whole steps done. The *motor* is the
ledger plus what was lost at hard ends or was never known before homing. The *face* follows the motor through lost
motion and friction; it is what carries the electrode, and no wire tells it.

Convention: after a downward (or leftward) approach the z face stands exactly where its motor does; after an upward one
it trails below by the lost motion. So the height of a plate that was touched from above is true in the machine frame.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from math import ceil, hypot, inf, sqrt
from typing import Final

from controller.settings.machine import Axes as AxesBelief
from controller.settings.units import S_PER_MS, UM_PER_MM
from sim.block import Block, Steps
from sim.play import BreakAway, Play
from sim.settings import AxesPlant, BoardPlant

X: Final = 0
Y: Final = 1
Z: Final = 2


class Axes:
    """The mechanics and the board's queue in front of them.

    Args:
        belief: The machine file's axes: steps per mm, travel, top speed and acceleration are settings of the board.
        plant: Lost motion, stick-slip, homing and hard ends as they really are.
        board: The board's delays.
        ack: True for the `ack` convention, False for `status`.
        uniform: Draws from [0, 1).

    Attributes:
        blocks: Moves sent and not yet done, the running one first; others only look.
        homing: The homing cycle runs.
        homed: The ledger means something.
        powered: The motors have power.
        x_um, y_um, z_um: The ledger.
        face_z_um: True height of the holder's face.
        moved_sideways, sideways_um: The faces of x or y have moved since this was last reset, by how much at the last.
    """

    def __init__(
        self,
        belief: AxesBelief,
        plant: AxesPlant,
        board: BoardPlant,
        ack: bool,
        uniform: Callable[[], float],
    ) -> None:
        self._belief = belief
        self._plant = plant
        self._board = board
        self._ack = ack
        self._uniform = uniform
        x, y, z = belief.steps_per_mm
        self._um_per_step = UM_PER_MM / x, UM_PER_MM / y, UM_PER_MM / z
        self._smallest = board.smallest_steps
        self._first_move_s = board.first_move_ms * S_PER_MS
        self._z_limits = (
            board.slowest_steps_s * self._um_per_step[Z],
            belief.top_speed_mm_s[Z] * UM_PER_MM,
            belief.acceleration_mm_s2[Z] * UM_PER_MM,
        )
        room_um = plant.end_room_mm * UM_PER_MM
        self._low_um = tuple(mm * UM_PER_MM - room_um for mm in belief.travel_min_mm)
        self._high_um = tuple(mm * UM_PER_MM + room_um for mm in belief.travel_max_mm)
        self._done: Steps = (0, 0, 0)
        self._planned: Steps = (0, 0, 0)
        self._lost_um = [self._somewhere_um(axis) for axis in (X, Y, Z)]
        self._play = tuple(self._new_play(axis) for axis in (X, Y, Z))
        self.blocks: deque[Block] = deque()
        self._free_s = 0.0
        self.homing = False
        self.moved_sideways = False
        self.sideways_um = 0.0
        self.homed = False
        self.powered = True
        self.x_um = self.y_um = self.z_um = 0.0
        self.face_z_um = self._play[Z].face_um

    # -- what is known and what is true -------------------------------------------------------------------------

    @property
    def face_um(self) -> tuple[float, float, float]:
        """True place of the holder's face (um)."""
        return self._play[X].face_um, self._play[Y].face_um, self._play[Z].face_um

    @property
    def off_um(self) -> tuple[float, float, float]:
        """How far the faces stand beyond what the ledger says, each having arrived toward smaller figures (um)."""
        x_um, y_um, z_um = self._lost_um
        return x_um, y_um, z_um

    def left_above(self, face_um: float) -> None:
        """Nobody leaves the holder's face below this height (um): lift it by hand, before the first tick."""
        short_um = face_um - self.face_z_um
        if short_um > 0.0:
            self._lost_um[Z] += short_um
            self.face_z_um = self._play[Z].face_um = face_um

    @property
    def moving_sideways(self) -> bool:
        """What is being done now leads sideways by more than a step's rounding."""
        return bool(self.blocks) and max(abs(self.blocks[0].delta[X]), abs(self.blocks[0].delta[Y])) > 1

    # -- commands -----------------------------------------------------------------------------------------------

    def move(self, x_um: float, y_um: float, z_um: float, speed_um_s: float, now_s: float) -> None:
        """Queue a straight move to a ledger position, rounded to whole steps; nothing happens without motor power."""
        if not self.powered:
            return
        step_x_um, step_y_um, step_z_um = self._um_per_step
        target = round(x_um / step_x_um), round(y_um / step_y_um), round(z_um / step_z_um)
        x, y, z = self._planned
        longest = max(abs(target[X] - x), abs(target[Y] - y), abs(target[Z] - z))
        if longest == 0 or (self._ack and longest < self._smallest):
            return  # an `ack` board swallows a move this short; the next one covers its way
        self._append(target, speed_um_s, self._first_step_s(longest, now_s))

    def halt(self, now_s: float) -> None:
        """Brake at the board's acceleration, drop what is queued; new moves wait until the board is ready again."""
        at_s = now_s + self._board.first_move_ms * S_PER_MS
        kept: deque[Block] = deque()
        for block in self.blocks:
            if block.start_s >= at_s:
                break
            kept.append(block)
            if block.end_s > at_s:
                brake = block.cut(at_s)
                if brake is not None:
                    kept.append(brake)
                break
        self.blocks = kept
        self._planned = kept[-1].final if kept else self._done
        wait_ms = self._board.ack_halt_ms if self._ack else self._board.halt_ms
        self._free_s = now_s + wait_ms * S_PER_MS
        self.homing = False

    def home(self, now_s: float) -> None:
        """Reference all axes: each fast to its switch, back off, slowly again, back off; z first, at its top."""
        if not self.powered:
            return
        self.halt(now_s)
        self.homed = False
        self.homing = True
        at_s = max(self._free_s, now_s)
        for axis, end in ((Z, 1.0), (X, -1.0), (Y, -1.0)):
            at_s = self._seek(axis, end, at_s)

    def cut_power(self) -> None:
        """The hard-wired stop takes the motors' power away: motion ends on the spot and the position is lost."""
        self.blocks.clear()
        self._planned = self._done
        self.homed = self.homing = self.powered = False

    def forget(self) -> None:
        """The board resets: motion ends on the spot and the position is unknown."""
        self.blocks.clear()
        self._planned = self._done
        self.homed = self.homing = False

    def restore_power(self) -> None:
        """Motors hold again; the position stays unknown until homed."""
        self.powered = True

    # -- for a board that counts its own steps --------------------------------------------------------------------

    def step(self, dx: int, dy: int, dz: int) -> None:
        """Turn the motors by whole steps at once; without power they stay."""
        if self.powered:
            x, y, z = self._done
            self._stand_at((x + dx, y + dy, z + dz))

    def slip(self, axis: int, by_um: float) -> None:
        """A motor without current turns by itself; nobody counts that."""
        self._lost_um[axis] += by_um
        self._play[axis].follow(self._motor_um(axis))
        self.face_z_um = self._play[Z].face_um

    def at_switch(self, axis: int, end: float, late_um: float) -> bool:
        """True when the switch at an axis' end (+1 top, -1 bottom) is closed; it closes `late_um` late."""
        beyond_um = (self._motor_um(axis) - self._switch_um(axis, end)) * end
        return beyond_um >= late_um

    # -- motion -------------------------------------------------------------------------------------------------

    def advance(self, to_s: float) -> None:
        """Carry the queue out up to a machine time (s)."""
        blocks = self.blocks
        while blocks:
            block = blocks[0]
            if to_s < block.start_s:
                return
            self._stand_at(block.at(to_s))
            if to_s < block.end_s:
                return
            blocks.popleft()
            if self.homing and not blocks:
                self._reference()

    @property
    def goes_sideways(self) -> bool:
        """True while a move on x or y is carried out or waits."""
        return any(block.delta[X] or block.delta[Y] for block in self.blocks)

    def way_in_um(self, to_s: float) -> float:
        """How far z will have gone by a machine time (um, with its sign), the blocks taken as they stand."""
        blocks = self.blocks
        if not blocks or to_s < blocks[0].start_s:
            return 0.0
        steps = self._done[Z]
        for block in blocks:
            if to_s < block.start_s:
                break
            steps = block.at(to_s)[Z]
        return (steps - self._done[Z]) * self._um_per_step[Z]

    def _stand_at(self, steps: Steps) -> None:
        """Take the motors to these steps; the faces follow."""
        before = self._done
        if steps == before:
            return
        self._done = steps
        if steps[Z] != before[Z]:
            self.z_um = steps[Z] * self._um_per_step[Z]
            self.face_z_um = self._play[Z].follow(self._motor_um(Z))
        if steps[X] != before[X] or steps[Y] != before[Y]:
            self._stand_sideways_at(steps)

    def _stand_sideways_at(self, steps: Steps) -> None:
        """The same for x and y; `sideways_um` is how far this one move took the faces."""
        x_um, y_um = self._play[X].face_um, self._play[Y].face_um
        self.x_um = steps[X] * self._um_per_step[X]
        self.y_um = steps[Y] * self._um_per_step[Y]
        self.sideways_um = hypot(
            self._play[X].follow(self._motor_um(X)) - x_um, self._play[Y].follow(self._motor_um(Y)) - y_um
        )
        self.moved_sideways = True

    def _motor_um(self, axis: int) -> float:
        """Where the motor is; steps driven into a hard end are lost."""
        motor_um = self._done[axis] * self._um_per_step[axis] + self._lost_um[axis]
        inside_um = min(max(motor_um, self._low_um[axis]), self._high_um[axis])
        if inside_um != motor_um:
            self._lost_um[axis] += inside_um - motor_um
        return inside_um

    # -- planning -----------------------------------------------------------------------------------------------

    def _append(self, target: Steps, speed_um_s: float, start_s: float) -> float:
        """Plan a block from the end of the queue; return its end (s)."""
        start = self._planned
        delta = (target[X] - start[X], target[Y] - start[Y], target[Z] - start[Z])
        if delta[X] == 0 and delta[Y] == 0:  # the servo's own kind of move, kept short
            slowest_um_s, top_um_s, acceleration_um_s2 = self._z_limits
            length_um = abs(delta[Z]) * self._um_per_step[Z]
            speed_um_s = min(max(speed_um_s, slowest_um_s), top_um_s)
        else:
            length_um, speed_um_s, acceleration_um_s2 = self._along(delta, speed_um_s)
        block = Block(start, delta, length_um, speed_um_s, acceleration_um_s2, start_s)
        self.blocks.append(block)
        self._planned = target
        return block.end_s

    def _along(self, delta: Steps, speed_um_s: float) -> tuple[float, float, float]:
        """Length (um), speed (um/s) and acceleration (um/s²) of a straight line: the tightest axis limits them.

        Boards step no slower than some rate: a slower feed word silently runs at it.
        """
        ways_um = [abs(d) * step for d, step in zip(delta, self._um_per_step, strict=True)]
        length_um = sqrt(sum(way * way for way in ways_um))
        speed_um_s = max(speed_um_s, self._board.slowest_steps_s * length_um / max(abs(d) for d in delta))
        acceleration_um_s2 = inf
        for axis, way_um in enumerate(ways_um):
            if way_um > 0.0:
                share = length_um / way_um * UM_PER_MM
                speed_um_s = min(speed_um_s, self._belief.top_speed_mm_s[axis] * share)
                acceleration_um_s2 = min(acceleration_um_s2, self._belief.acceleration_mm_s2[axis] * share)
        return length_um, speed_um_s, acceleration_um_s2

    def _first_step_s(self, longest: int, now_s: float) -> float:
        """When a block sent now can begin: after what runs, and after the board's own wait when it is idle."""
        ends_s = self.blocks[-1].end_s if self.blocks else 0.0
        arrival_s = max(now_s, self._free_s)
        if not self._ack:
            return max(ends_s, arrival_s + self._first_move_s)
        burst_s = arrival_s + self._board.burst_first_move_ms * S_PER_MS
        if ends_s > 0.0 and self.blocks[0].start_s <= now_s:
            return max(ends_s, burst_s)
        if longest >= 3 * self._board.smallest_steps or len(self.blocks) >= 2:
            self._start_waiting(burst_s)
            return max(self.blocks[-1].end_s if self.blocks else 0.0, burst_s)
        return max(ends_s, arrival_s + self._board.lone_first_move_ms * S_PER_MS)

    def _start_waiting(self, at_s: float) -> None:
        """Three blocks are queued: an `ack` board now begins with those that waited."""
        for block in self.blocks:
            if block.start_s > at_s:
                block.shift(at_s)
            at_s = block.end_s

    # -- homing -------------------------------------------------------------------------------------------------

    def _seek(self, axis: int, end: float, at_s: float) -> float:
        """Queue the homing of one axis towards its `end` (+1 top, -1 bottom); return when it is over (s)."""
        switch_um = self._switch_um(axis, end) + self._plant.homing_repeat_um * (2.0 * self._uniform() - 1.0)
        fast_um_s = self._belief.top_speed_mm_s[axis] * UM_PER_MM * self._plant.homing_speed_share
        back_um = end * self._plant.homing_pull_off_mm * UM_PER_MM
        off_um = switch_um - back_um
        for motor_um, share in ((switch_um, 1.0), (off_um, 1.0), (switch_um, 0.1), (off_um, 1.0)):
            steps = list(self._planned)
            steps[axis] = self._steps_at(axis, motor_um, end)
            if steps[axis] != self._planned[axis]:
                at_s = self._append((steps[X], steps[Y], steps[Z]), fast_um_s * share, at_s)
        return at_s

    def _switch_um(self, axis: int, end: float) -> float:
        return (self._belief.travel_max_mm if end > 0.0 else self._belief.travel_min_mm)[axis] * UM_PER_MM

    def _steps_at(self, axis: int, motor_um: float, end: float) -> int:
        """The step at which the switch of this axis has closed."""
        steps = (motor_um - self._lost_um[axis]) / self._um_per_step[axis]
        return ceil(steps) if end > 0.0 else -ceil(-steps)

    def _reference(self) -> None:
        """Homing is over: the ledger is set to what the switches mean, the motors stay where they are."""
        done = list(self._done)
        for axis, end in ((Z, 1.0), (X, -1.0), (Y, -1.0)):
            ledger_um = self._switch_um(axis, end) - end * self._plant.homing_pull_off_mm * UM_PER_MM
            motor_um = self._done[axis] * self._um_per_step[axis] + self._lost_um[axis]
            done[axis] = round(ledger_um / self._um_per_step[axis])
            self._lost_um[axis] = motor_um - done[axis] * self._um_per_step[axis]
        self._done = self._planned = (done[X], done[Y], done[Z])
        self.x_um, self.y_um, self.z_um = (n * step for n, step in zip(self._done, self._um_per_step, strict=True))
        self.homing = False
        self.homed = True

    # -- beginning ----------------------------------------------------------------------------------------------

    def _somewhere_um(self, axis: int) -> float:
        """Where the axis was left; z in the upper half, as it would be left with a rod in it."""
        low_um, high_um = (mm[axis] * UM_PER_MM for mm in (self._belief.travel_min_mm, self._belief.travel_max_mm))
        share = self._uniform()
        return low_um + (high_um - low_um) * (0.5 + 0.5 * share if axis == Z else share)

    def _new_play(self, axis: int) -> Play:
        backlash_um = self._plant.backlash_um
        start_um = self._lost_um[axis]
        break_away = BreakAway(self._plant.stick_slip_um, self._uniform)
        return Play(backlash_um, 0.0, break_away, start_um - backlash_um * self._uniform())
