"""The virtual machine behind two wires: the plant of the rehearsal, and virtual boards in front of it.

The plant is the same code and the same physics; only what lies between host and plant differs. There the core's
commands act at once, here bytes travel, queue and are stepped. Boards are let run up to the next millisecond, then the
plant lives that millisecond through: a sample's time, and the finest that anything at the wires can tell.
"""

from __future__ import annotations

from controller.plan.plan import Plan
from controller.record.journal import TrueHole
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.boards.ack import AckBoard
from sim.boards.ack_settings import AckSettings, AckTiming
from sim.boards.board import home_ends, home_switches
from sim.boards.firmata import FirmataBoard, FirmataTiming
from sim.boards.status import StatusBoard
from sim.boards.status_settings import StatusSettings, StatusTiming
from sim.faults import Site
from sim.injector import Injector, Planned
from sim.machine import VirtualMachine
from sim.random import Streams
from sim.settings import PlantSettings
from sim.terminals import Motors, Pins
from sim.truth import full_diameter_um

PIECE_S = 0.001
PIECES_A_SECOND = 1000
# A boundary counts as reached when this little is missing (s): rounding of floats.
NEARLY_S = 1e-9


class WiredMachine:
    """A whole machine with its two boards, driven by bytes and by time given from outside.

    Args:
        machine, job, plan: What machine it is, and what lies on its table.
        plant: What is true of it.
        seed: Seed of all its chance.
        faults: What goes wrong, and when.

    Attributes:
        plant: The plant; `motion` and `sampler` are the boards in front of it, `motors` and `pins` their terminals.
        injector: What lets the faults happen.
        now_s: Machine time since it was switched on.
    """

    def __init__(
        self,
        machine: Machine,
        job: Job,
        plan: Plan,
        plant: PlantSettings,
        seed: int,
        faults: tuple[Planned, ...] = (),
    ) -> None:
        # Here the wire itself takes its time, so the plant's stand-in for it is taken out.
        at_once = plant.model_copy(update={"contacts": plant.contacts.model_copy(update={"link_ms": 0.0})})
        self.plant = VirtualMachine(machine, job, plan, at_once, seed)
        streams = Streams(seed)
        chance = streams.named("motion board")
        x, y, z = (UM_PER_MM / per_mm for per_mm in machine.axes.steps_per_mm)
        ends = home_ends(machine.axes)
        self.motors = Motors(self.plant, (x, y, z), ends, plant.axes.homing_repeat_um, chance.uniform)
        self.motion = motion_board(machine, plant, self.motors, streams)
        sampler_chance = streams.named("sampler board")
        self.pins = Pins(self.plant, machine.sampler.pins, sampler_chance.normal)
        self.sampler = FirmataBoard(FirmataTiming(baud=machine.sampler.baud), self.pins, sampler_chance.uniform)
        self.now_s = 0.0
        self._pieces = 0
        self.injector = Injector(faults, Site(self.plant, self))
        self._settings, self._job, self._seed = plant, job, seed
        self._dirt: dict[int, tuple[float, float]] = {}

    def advance(self, to_s: float) -> tuple[bytes, bytes]:
        """Let time pass up to `to_s`; return what the motion board and the sampler have sent meanwhile."""
        motion, sampler = bytearray(), bytearray()
        while (boundary_s := (self._pieces + 1) * PIECE_S) <= to_s + NEARLY_S:
            if self._pieces * PIECE_S >= self.injector.next_s:
                self.injector.act(self._pieces * PIECE_S)
            motion += self.motion.advance(boundary_s)
            sampler += self.sampler.advance(boundary_s)
            self.pins.look(self.plant.advance(PIECE_S))
            self._pieces += 1
            if self._pieces % PIECES_A_SECOND == 0:
                self._note_dirt()
        motion += self.motion.advance(max(to_s, self.motion.now_s))
        sampler += self.sampler.advance(max(to_s, self.sampler.now_s))
        self.now_s = to_s
        return bytes(motion), bytes(sampler)

    def true_holes(self) -> list[TrueHole]:
        """What every planned hole that was begun has become, by number."""
        self._note_dirt()
        job, truths = self._job, []
        rod_um, bore_um = job.electrode.diameter_mm * UM_PER_MM, job.electrode.bore_mm * UM_PER_MM
        thickness_um = job.work.thickness_mm * UM_PER_MM
        for number, hole in sorted(self.plant.truth.holes.items()):
            if hole.removed_um3 <= 0.0:
                continue
            _, dirt = self._dirt[number]
            full_um = full_diameter_um(self._settings, thickness_um, rod_um, dirt, self._seed, bore_um)
            entry_mm, exit_mm = hole.entry_diameter_um() / UM_PER_MM, hole.exit_diameter_um() / UM_PER_MM
            truths.append(TrueHole(number, entry_mm, exit_mm, full_um / UM_PER_MM, hole.through))
        return truths

    def _note_dirt(self) -> None:
        """Remember for each hole how dirty the water was when it was last worked on."""
        for number, hole in self.plant.truth.holes.items():
            if number not in self._dirt or self._dirt[number][0] != hole.removed_um3:
                self._dirt[number] = (hole.removed_um3, self.plant.truth.dirt)


def motion_board(machine: Machine, plant: PlantSettings, motors: Motors, streams: Streams) -> StatusBoard | AckBoard:
    """The board that the machine file names, set up well for that machine."""
    axes = machine.axes
    homing_mm_s = plant.axes.homing_speed_share * max(axes.top_speed_mm_s)
    if machine.motion.convention == "status":
        settings = StatusSettings.fitting(axes, home_switches(axes, homing_mm_s))
        return StatusBoard(StatusTiming(baud=machine.motion.baud), settings, motors)
    uniform = streams.named("ack board").uniform
    built = AckSettings.fitting(axes, home_switches(axes, homing_mm_s))
    return AckBoard(AckTiming(baud=machine.motion.baud), built, motors, uniform, machine.spindle.top_rev_min)
