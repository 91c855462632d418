"""What every cycle works with: settings, this tick's sense, beliefs, and the way to tell and to change phase."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final, TypeAlias, TypeVar

from controller.core.causes import Cause, trip
from controller.core.causes import Trip as Trip  # noqa: PLC0414 - cycles find it here
from controller.core.commands import Command
from controller.core.electrode import Electrode
from controller.core.events import Checkpoint, Event, HoleDoubted, PhaseChanged, PlayFound, Said
from controller.core.interlocks import Interlocks
from controller.core.measuring import Measuring
from controller.core.phases import Phase, PhaseMachine, Trigger
from controller.core.requests import Request
from controller.core.sense import Sense
from controller.core.servo import Servo
from controller.core.standing import Standing
from controller.core.surface import Surface
from controller.core.wishes import Wishes
from controller.plan.frame import frame_height_mm
from controller.plan.keep_outs import Leg, Obstacle, Ways, lift_costs, obstacles, travel_obstacles
from controller.plan.overcut import Overcut
from controller.plan.plan import Plan
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.technology import Technology
from controller.settings.units import UM_PER_MM

# Nothing was said of the electrode: as thick as is put into a small holder (common practice, no source).
THICK_ROD_MM: Final = 3.0

T = TypeVar("T")
# A cycle yields the commands of one tick and goes on at the next; what it finds out it returns.
Cycle: TypeAlias = Generator[Sequence[Command], None, T]


@dataclass(slots=True, frozen=True)
class Setting:
    """What was given for the run and never changes."""

    machine: Machine
    job: Job
    technology: Technology
    plan: Plan
    overcut: Overcut


def guessed_cone_mm(given: Setting) -> float:
    """Length of the worn cone as the technology guesses it."""
    return given.technology.cone_diameters.guess * given.job.electrode.diameter_mm


class Bench:
    """A machine with an electrode in its holder, and nothing said of a job: what touching and checking need.

    The cycles change the beliefs, the conductor feeds `sense`, `requests` and `out`.
    """

    __slots__ = (
        "descent",
        "doing",
        "electrode",
        "hole",
        "locks",
        "machine",
        "measuring",
        "out",
        "phases",
        "play_felt",
        "prompts",
        "requests",
        "rests_until_s",
        "rod_mm",
        "sense",
        "standing",
    )

    def __init__(
        self,
        machine: Machine,
        sense: Sense,
        phases: PhaseMachine,
        locks: Interlocks,
        electrode: Electrode,
        rod_mm: float = THICK_ROD_MM,
    ) -> None:
        self.machine = machine
        self.rod_mm = rod_mm
        self.standing: tuple[Obstacle, ...] = tuple(obstacles(None, machine))
        self.sense = sense
        self.phases = phases
        self.locks = locks
        self.electrode = electrode
        self.measuring = Measuring()
        self.requests: Sequence[Request] = ()
        self.out: list[Event] = []
        # The last slow descent onto metal: (axis height µm, pin volts), and where metal was met.
        self.descent: tuple[list[tuple[float, float]], float] = ([], 0.0)
        self.doing = ""
        self.hole = 0
        # Until when a cycle only lets time pass (s; inf: until somebody answers); said again in every tick it does so.
        self.rests_until_s = 0.0
        self.prompts = 0
        self.play_felt = False

    @property
    def tick_s(self) -> float:
        """Length of a tick."""
        return 1.0 / self.machine.tick_hz

    @property
    def play_um(self) -> float:
        """What the feed axis is believed to lose at a reversal."""
        return self.sense.play_um

    def found_play(self, play_um: float) -> None:
        """It was felt: the machine file's figure, set for a usual machine or long ago, counts no more in this run."""
        self.tell(PlayFound(self.now_s, play_um, self.play_um))
        self.play_felt = True
        self.sense.play_um = self.locks.play_um = play_um

    @property
    def now_s(self) -> float:
        """Machine time of this tick."""
        return self.sense.seen.time_s

    @property
    def top_um(self) -> float:
        """The highest place of the feed axis."""
        return self.machine.axes.travel_max_mm[2] * UM_PER_MM

    def tell(self, event: Event) -> None:
        """Put an event on record."""
        self.out.append(event)

    def say(self, text: str) -> None:
        """Tell the operator in words what is being done now."""
        if text != self.doing:
            self.doing = text
            self.tell(Said(self.now_s, text))

    def enter(self, trigger: Trigger) -> None:
        """Move the phase machine; a trigger that the table ignores here is a fault of the program."""
        before = self.phases.phase
        if not self.phases.fire(trigger):
            raise trip(Cause.PROGRAM, f"{trigger.value} in {before.value}")
        self.tell(PhaseChanged(self.now_s, before.value, trigger.value, self.phases.phase.value))
        wrong = self.locks.unpermitted(self.phases.phase)
        if wrong is not None:
            raise trip(Cause.PROGRAM, f"{wrong} on in {self.phases.phase.value}")

    def check_point(self) -> None:
        """Put on record what is believed now; nothing without a job that might have to be taken up again."""

    def work_top_mm(self) -> float:
        """How high the work may reach (machine frame, mm), as far as is known."""
        place = self.machine.work_place
        return place.surface_height_mm + 3.0 * place.surface_height_u_mm

    def clear_z_um(self) -> float:
        """Axis height at which the tip passes over the work and the reference plate by the clear height."""
        highest = max(self.work_top_mm(), self.machine.reference_plate.height_mm)
        tip = self.electrode.tip_mm + 3.0 * self.electrode.tip_u_mm
        return min((highest + self.machine.work_place.clear_height_mm + tip) * UM_PER_MM, self.top_um)

    def legs(self, x_mm: float, y_mm: float) -> list[Leg]:
        """The way from here to a place, around what stands higher than the tip now travels, or over it.

        Empty when there is none.
        """
        seen = self.sense.seen
        tip_mm = self.electrode.tip_mm + 3.0 * self.electrode.tip_u_mm
        here_mm = seen.z_um / UM_PER_MM - tip_mm
        in_the_way = travel_obstacles(self.standing, self.rod_mm, here_mm, self.machine)
        ways = Ways(tuple(in_the_way), here_mm, self.top_um / UM_PER_MM - tip_mm, lift_costs(self.machine))
        return ways.legs((seen.x_um / UM_PER_MM, seen.y_um / UM_PER_MM), (x_mm, y_mm))

    def in_phase(self, *phases: Phase) -> bool:
        """True in one of these phases."""
        return self.phases.phase in phases


class Rig(Bench):
    """A bench with a job to be done on it."""

    __slots__ = (
        "advances",
        "before",
        "feed_um",
        "flank_share",
        "full_um",
        "given",
        "needle",
        "open_holes",
        "outcomes",
        "pierce_um",
        "servo",
        "since_measured",
        "surface",
        "usual_sparks_per_um",
        "wishes",
    )

    def __init__(
        self,
        given: Setting,
        sense: Sense,
        phases: PhaseMachine,
        locks: Interlocks,
        servo: Servo,
        electrode: Electrode,
    ) -> None:
        super().__init__(given.machine, sense, phases, locks, electrode, given.job.electrode.diameter_mm)
        self.given = given
        self.standing = given.plan.standing
        self.servo = servo
        self.surface: Surface | None = None
        self.usual_sparks_per_um: float | None = None
        self.wishes = Wishes()
        self.feed_um = self.pierce_um = self.full_um = 0.0
        self.advances = 0
        # The rod in use is worn so thin that the room below the plate is too short for it; and up to which share of its
        # usual sparks a rod still has where that room ends though no cone is left, as flat-ended ones have shown.
        self.needle = False
        self.flank_share = 0.0
        self.before: Standing | None = None  # where the run stands that is taken up again
        self.outcomes: dict[int, str] = {}  # of the holes finished
        self.open_holes: list[int] = []  # those that are open, in the order made
        self.since_measured: list[int] = []  # those made since the electrode was measured

    def work_top_mm(self) -> float:
        """How high the work reaches under the holes: by its plane once that was touched."""
        if self.surface is None:
            place, plan = self.machine.work_place, self.given.plan
            over = [(hole.x_mm, hole.y_mm) for hole in plan.holes] + list(plan.touch_points_mm)
            rise = max((frame_height_mm(place, *at) for at in over), default=place.surface_height_mm)
            return super().work_top_mm() + max(rise - place.surface_height_mm, 0.0)
        return self.surface.highest_mm([(hole.x_mm, hole.y_mm) for hole in self.given.plan.holes])

    def unsure_mm(self, holes: float = 0.0) -> float:
        """Standard uncertainty of where the tip stands above the face, now or after so many holes more."""
        return hypot(self.surface.u_mm if self.surface else 0.0, self.electrode.u_after(holes))

    def finished(self, hole: int, outcome: str) -> None:
        """A hole is made."""
        self.outcomes[hole] = outcome
        if outcome == "through":
            self.open_holes.append(hole)
            self.since_measured.append(hole)

    def doubt(self, hole: int, why: str) -> None:
        """A hole that was called open is not: it will be made again from where it is."""
        self.open_holes.remove(hole)
        del self.outcomes[hole]
        self.tell(HoleDoubted(self.now_s, hole, why))

    def check_point(self) -> None:
        """Put on record what is believed now, for a run that has to be taken up from here."""
        self.tell(Checkpoint(self.now_s, self.electrode.belief, self.usual_sparks_per_um or 0.0))
