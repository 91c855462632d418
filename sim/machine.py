"""The virtual machine: commands in, observations out, and between them nothing but wires between the true parts.

Time inside is whole microseconds, so that pieces of a tick always add up to the tick. A tick is one piece unless a
contact switches in it, or the axis moves fast with a voltage on the electrode near metal; then it is cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import Final

from controller.core.commands import Command, Halt, Home, Move, Output, Switch, Turn, Withhold
from controller.core.observation import BoardState, Observation
from controller.plan.plan import Plan
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.axes import Axes
from sim.contacts import Contacts
from sim.electrode import ElectrodeTruth
from sim.erosion import Erosion
from sim.ground import Below, Ground
from sim.hands import HandsRefusedError
from sim.random import Streams
from sim.readings import Readings
from sim.rings import rings
from sim.settings import PlantSettings
from sim.state import TrueState
from sim.stick import Stick
from sim.tip import Tip
from sim.upset import Upset
from sim.water import WaterTruth

US_PER_S: Final = 1e6
# Cut of a tick while the axis moves with a voltage on the electrode: one sample. Chosen so that a contact made within
# a tick stands in its own samples.
CUT_US: Final = 1000
# Moves up to this far in a tick need no cut while eroding. Chosen: two whole steps of z at 400 steps/mm.
SMALL_WAY_UM: Final = 6.0
# Nearer to metal than this a moving tip needs the cut. Chosen: beyond any gap in which something happens.
NEAR_UM: Final = 500.0
# From one look at the machine to the next while the host is away (s). Chosen: finer than any tick.
ALONE_TICK_S: Final = 0.005


class VirtualMachine:
    """A whole machine in virtual time.

    Args:
        machine: The machine file: what board and sampler are set to, and where the maker put things.
        job: Work and electrode.
        plan: Where the holes are.
        plant: What is true of this machine.
        seed: Seed of all its chance.
    """

    def __init__(self, machine: Machine, job: Job, plan: Plan, plant: PlantSettings, seed: int) -> None:
        streams = Streams(seed)
        hands = streams.named("hands")
        grid = rings(0.5 * job.electrode.diameter_mm * UM_PER_MM, job.electrode.bore_mm * UM_PER_MM, plant.rod.ring_um)
        holder, electrode = machine.holder, job.electrode
        self._holder, self._hands = holder, hands
        self._electrode = ElectrodeTruth(grid, self._by_eye_mm() * UM_PER_MM, plant.rod.runout_um)
        grip_mm = max(0.0, electrode.min_length_mm - holder.min_protrusion_mm)
        self._stick = Stick(self._electrode, electrode.length_mm, grip_mm, holder.min_protrusion_mm)
        self._water = WaterTruth(plant)
        self._erosion = Erosion(
            plant,
            streams,
            self._electrode,
            self._water,
            job.work.thickness_mm * UM_PER_MM,
            job.work.clear_below_mm * UM_PER_MM,
        )
        ack = machine.motion.convention == "ack"
        self._axes = Axes(machine.axes, plant.axes, plant.board, ack, streams.named("axes").uniform)
        self._contacts = Contacts(plant.contacts)
        sampler_draws = streams.named("sampler")
        self._ground = Ground(machine, job, plan, plant, grid, streams.named("plates"))
        self._plant = plant
        self._tip = Tip(plant, self._axes, self._ground, self._electrode, self._erosion, streams.named("touch"))
        self._readings = Readings(machine, plant, self._tip, self._erosion, self._water, sampler_draws)
        self._spindle, self._stops = machine.spindle.fitted, streams.named("spindle")
        self._rev_min = 0.0
        self._now_us = 0
        self._upset: Upset | None = None
        self._tick_us = 0
        self._taken: list[int] = []
        self.supply_on = True
        self.stop_pressed = False
        self.guard_closed = True
        self.level_ok = True
        self.truth = TrueState(
            self._axes, self._contacts, self._ground, self._stick, self._water, self._erosion, self._tip.press
        )

    # -- the seam ---------------------------------------------------------------------------------------------------

    def advance(self, dt_s: float) -> Observation:
        """Let `dt_s` of machine time pass; return what the wires then say."""
        self._tick_us = round(dt_s * US_PER_S)
        to_us = self._now_us + self._tick_us
        self._taken = []
        if self.truth.cut:
            self.truth.restart()
        contacts = self._contacts
        while contacts.next_s * US_PER_S <= to_us:
            self._run(max(self._now_us, ceil(contacts.next_s * US_PER_S)))
            self._let_contacts_change()
        self._run(to_us)
        axes = self._axes
        seen = Observation(
            to_us / US_PER_S,
            self._taken,
            0.001,  # the last sample of a stream at 1 kHz is never older (wires.md)
            contacts.contact_open,
            contacts.flow,
            self.stop_pressed,
            self.guard_closed,
            self.level_ok,
            axes.x_um,
            axes.y_um,
            axes.z_um,
            len(axes.blocks),
            BoardState.READY if axes.homed else self._board(),
            axes.homed,
        )
        return seen if self._upset is None else self._upset.spoil(seen)

    def rest(self, dt_s: float) -> Observation:
        """The same, of a time in which the host does nothing but keep its heartbeat up."""
        self._contacts.heartbeat(self._now_us / US_PER_S + dt_s)
        return self.advance(dt_s)

    @property
    def time_s(self) -> float:
        """Machine time."""
        return self._now_us / US_PER_S

    # -- what goes wrong at the plant or its wires (sim/faults.py) -----------------------------------------------------

    def upset_wires(self) -> Upset:
        """What is wrong on the wires."""
        if self._upset is None:
            self._upset = Upset()
        return self._upset

    def silence(self, seconds: float) -> None:
        """No sample comes for a time."""
        self.upset_wires().silence(self.time_s, self.time_s + seconds)

    def outputs_low(self) -> None:
        """The sampler lets every output go."""
        for output in Output:
            self._contacts.switch(output, False, self.time_s)

    def alone(self, seconds: float) -> None:
        """Time passes without the host: no command and no heartbeat."""
        truth = self.truth
        truth.alone = True
        live_s = 0.0
        for _ in range(round(seconds / ALONE_TICK_S)):
            self.advance(ALONE_TICK_S)
            live_s += ALONE_TICK_S if self._contacts.live else 0.0
        truth.live_alone_s = max(truth.live_alone_s, live_s)

    def flood(self, film_um: float, extra_us_cm: float) -> None:
        """Water stands on everything, and conducts more than by its dirt; nothing for none."""
        self._readings.film.flood_um = film_um
        self._water.extra_us_cm = extra_us_cm

    def thicken(self, times: float) -> None:
        """From the next hole on the work is so many times as thick as the job says."""
        self._erosion.any_thickness = True
        self._ground.thicken(times)

    def shorten_electrode(self, by_um: float, *, flat: bool) -> None:
        """The tip breaks off (and is flat then), or the rod slips up in its holder."""
        self._electrode.shorten(by_um, flat=flat)
        self._erosion.start_over()

    def hold_electrode(self, stuck: bool) -> None:
        """The stick can't be pushed out any further: it is at its end, or jams in the holder."""
        self._stick.stuck = stuck

    def dirty_plate(self, scatter_um: float | None) -> None:
        """Touches on the reference plate scatter by this much; None for what is usual."""
        self._tip.scatter_um = self._plant.plate.touch_scatter_um if scatter_um is None else scatter_um

    def ground_plate(self, grounded: bool) -> None:
        """The reference plate is connected to ground, or not."""
        self._readings.plate_grounded = grounded

    def swap_poles(self, tool_positive: bool) -> None:
        """The source stands with its plus on the electrode, or as it should."""
        self._readings.tool_positive = tool_positive

    def lift_work(self, by_um: float) -> None:
        """The work stands higher (or lower) than it did."""
        self._ground.lift_work(by_um)
        self._tip.moved = True

    def move_work(self, x_um: float, y_um: float) -> None:
        """Somebody pushes the work aside."""
        self._ground.move_work(x_um, y_um)

    def left_alone(self, seconds: float) -> None:
        """The host has gone: no command and no heartbeat for a time. Then it is back.

        Opening the ports resets both boards: every output low, positions unknown.
        """
        self.alone(seconds)
        self.outputs_low()
        self._axes.forget()
        if self._upset is not None:
            self._upset.board, self._upset.silent_from_s = None, None
        self._rev_min = 0.0

    @property
    def face_z_um(self) -> float:
        """True height of the holder's face."""
        return self._axes.face_z_um

    @property
    def axes(self) -> Axes:
        """The mechanics, for a motion board that steps them itself."""
        return self._axes

    @property
    def contacts(self) -> Contacts:
        """The switched parts, for a sampler board that drives them itself."""
        return self._contacts

    def turn(self, rev_min: float) -> None:
        """Turn the spindle, if there is one."""
        was, self._rev_min = self._rev_min, rev_min if self._spindle else 0.0
        if was and not self._rev_min:
            self._tip.stopped_at(self._stops.uniform())

    def carry_out(self, commands: Sequence[Command]) -> None:
        """Send a completed tick's commands and its heartbeat edge."""
        self.truth.alone = False
        now_s = self._now_us / US_PER_S
        for command in commands:
            self._send(command, now_s)
        if not any(isinstance(command, Withhold) for command in commands):
            self._contacts.heartbeat(now_s)

    def _send(self, command: Command, now_s: float) -> None:
        match command:
            case Move():
                self._axes.move(command.x_um, command.y_um, command.z_um, command.speed_um_s, now_s)
            case Switch():
                self._contacts.switch(command.output, command.on, now_s)
            case Turn():
                self.turn(command.rev_min)
            case Home():
                self._axes.home(now_s)
            case Halt():
                self._axes.halt(now_s)

    def _board(self) -> BoardState:
        if not self._axes.powered:
            return BoardState.ALARM
        return BoardState.HOMING if self._axes.homing else BoardState.READY

    # -- time -------------------------------------------------------------------------------------------------------

    def _run(self, to_us: int) -> None:
        """Let time pass while no contact switches."""
        if self._axes.blocks and to_us > self._now_us and self._needs_cut(to_us):
            while self._now_us + CUT_US < to_us:
                self._piece(self._now_us + CUT_US)
        if to_us > self._now_us:
            self._piece(to_us)

    def _needs_cut(self, to_us: int) -> bool:
        """True when the tip moves near metal with a voltage on it, far enough for the moment to matter."""
        sensing = self._contacts.sensing_on
        if not (sensing or self._contacts.live):
            return False
        if sensing and self._ground.placed is not None and self._axes.goes_sideways:
            return True
        way_um = abs(self._axes.way_in_um(to_us / US_PER_S))
        if way_um <= (0.0 if sensing else SMALL_WAY_UM):
            return False
        return self._tip.z_um - self._tip.metal_um <= NEAR_UM

    def _piece(self, to_us: int) -> None:
        """Let time pass in one piece: mechanics, then the gap, then the samples."""
        dt_us = to_us - self._now_us
        dt_s = dt_us / US_PER_S
        self._now_us = to_us
        axes, contacts, erosion, tip = self._axes, self._contacts, self._erosion, self._tip
        if axes.blocks:
            axes.advance(to_us / US_PER_S)
        if (axes.moved_sideways or tip.moved) and tip.look_below():
            self._readings.elsewhere()
        face_um = axes.face_z_um
        live = contacts.live and self.supply_on
        segments = erosion.advance(dt_s, face_um, live, contacts.flow, self._rev_min)
        if dt_us != self._tick_us:
            self.truth.add_piece()
        if live:
            truth = self.truth
            truth.both_feeds_s += dt_s if contacts.sensing_on else 0.0
            truth.live_at_plate_s += dt_s if tip.below is Below.REFERENCE else 0.0
            self._taken += self._readings.live(segments, dt_s, to_us / US_PER_S)
        elif contacts.sensing_on:
            self._taken += self._readings.sensing(dt_s, to_us / US_PER_S)
        else:
            self._taken += self._readings.dead(dt_s)

    def _let_contacts_change(self) -> None:
        """Contacts switch now; a source contact that opens while current flows opens hot."""
        was_live = self._contacts.live
        # At least to the moment that was planned: its seconds and these microseconds may differ in the last digit.
        self._contacts.advance(max(self._now_us / US_PER_S, self._contacts.next_s))
        self._readings.film.run(self._contacts.flow, self._now_us / US_PER_S)
        opened = was_live and not self._contacts.live
        if opened and self._erosion.carries_current:
            self.truth.hot_openings += 1
            self.truth.hot_alone += self.truth.alone

    # -- what a person does with hands --------------------------------------------------------------------------------

    def advance_electrode(self, protrusion_mm: float) -> None:
        """Push the rod out to about `protrusion_mm`; a stick that has become too short is renewed."""
        self._hands_in()
        self._stick.advance(protrusion_mm)

    def new_electrode(self) -> None:
        """Put in a new stick that stands out about as far as the machine file says."""
        self._hands_in()
        self._stick.renew(self._by_eye_mm())

    def free_electrode(self) -> None:
        """Break a welded tip loose, clear a bridge, straighten the rod."""
        self._hands_in()
        self._erosion.free()
        self._electrode.bend_um = 0.0

    def press_stop(self, pressed: bool) -> None:
        """Press or release the hard-wired stop: it cuts source, pump and motor power, whatever the boards say."""
        self.stop_pressed = pressed
        now_s = self._now_us / US_PER_S
        if pressed:
            self._contacts.cut_power(now_s)
            self._axes.cut_power()
        else:
            self._contacts.restore_power(now_s)
            self._axes.restore_power()

    def meter_v(self) -> float:
        """A voltmeter clipped on beforehand, plus to the table, minus to the electrode: over an open gap."""
        if not (self._contacts.live and self.supply_on):
            return 0.0
        open_v = self._plant.source.open_v
        return -open_v if self._readings.tool_positive else open_v

    def _by_eye_mm(self) -> float:
        """How far a stick stands out that was set by eye; nobody is out by more than two standard uncertainties."""
        return self._holder.protrusion_mm + self._holder.protrusion_u_mm * max(-2.0, min(2.0, self._hands.normal()))

    def _hands_in(self) -> None:
        if not self._contacts.contact_open:
            raise HandsRefusedError("the source contact is not proven open: no hands near the electrode")
        if self._axes.blocks:
            raise HandsRefusedError("the machine moves: no hands near the electrode")
