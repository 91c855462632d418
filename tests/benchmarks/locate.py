"""Locating over random set-ups: is the truth inside what is stated, and how far off is the middle?

Every set-up draws a plate at any turn, tilted up to 3°, somewhere on the table; play of 30 to 60 µm, noise, water on
everything, a rod up to 6 µm under its size; and a rough place a person would give, up to 1.5 mm and 2° off. It is
located by its corner, by a bore and by the plane of its face. Truth: where the upright electrode stands over the very
corner or middle of the bore, as the plant has it, against what was found. Coverage counts each coordinate by itself at
k = 2 (JCGM 100:2008, 6.3.3: about 95 %).

Run: python -m tests.benchmarks.locate --seed 1 --setups 200
"""

from __future__ import annotations

import argparse
import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from controller.core.commands import Output, Switch
from controller.core.commissioning import BenchWork
from controller.core.cycles.locate import About, locate_corner, locate_plane, locate_round, make_ready
from controller.core.cycles.travel import rise_to_top
from controller.core.events import RunEnded
from controller.core.found import Corner, FacePlane, Round, slope_mm_m
from controller.core.rig import Bench, Cycle
from controller.plan.frame import Frame
from controller.plan.plan import Plan
from controller.settings.find import resolve
from controller.settings.job import Job
from controller.settings.load import load_job, load_machine
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.machine import VirtualMachine
from sim.settings import PlantSettings, load_plant
from sim.single import do_virtually

SIZE_MM = (90.0, 70.0)
BORE_MM = (45.0, 50.0, 12.0)
TOUCH_MM = ((12.0, 12.0), (78.0, 12.0), (78.0, 58.0), (12.0, 58.0))
CORNER_MM = (0.0, 0.0)
HOLES_MM = [(x, y) for x in (10.0, 30.0, 50.0, 80.0) for y in (10.0, 35.0, 60.0)]


@dataclass(slots=True)
class Tally:
    """Errors of one quantity with their expanded uncertainties."""

    errors: list[float] = field(default_factory=list)
    stated: list[float] = field(default_factory=list)
    inside: list[bool] = field(default_factory=list)

    def take(self, error: float, u: float) -> None:
        self.errors.append(abs(error))
        self.stated.append(u)
        self.inside.append(abs(error) <= 2.0 * u)


def setup(draw: random.Random) -> tuple[PlantSettings, Frame]:
    """A plant with a plate somewhere, and what a person would say of where it lies."""
    turned = draw.uniform(0.0, 360.0)
    # The middle of the plate near the middle of the table, wherever it is turned to.
    c, s = math.cos(math.radians(turned)), math.sin(math.radians(turned))
    mx, my = 125.0 + draw.uniform(-10, 10), 125.0 + draw.uniform(-10, 10)
    corner = (mx - c * 45.0 + s * 35.0, my - s * 45.0 - c * 35.0)
    plate = {
        "used": True,
        "corner_mm": corner,
        "height_mm": -60.0 + draw.uniform(-1.0, 1.0),
        "turned_deg": turned,
        "tilt_mm": 100.0 * math.tan(math.radians(draw.uniform(0.0, 3.0))),
        "tilt_towards_deg": draw.uniform(0.0, 360.0),
        "size_mm": SIZE_MM,
        "bores_mm": (BORE_MM,),
    }
    changes: dict[str, dict[str, Any]] = {
        "placed": plate,
        "axes": {"backlash_um": draw.uniform(30.0, 60.0)},
        "rod": {"undersize_um": draw.uniform(0.0, 6.0)},
        "sampler": {"noise_mv": draw.uniform(4.0, 16.0)},
        "water": {"conductivity_us_cm": draw.uniform(100.0, 900.0)},
    }
    plant = load_plant()
    plant = plant.model_copy(
        update={table: getattr(plant, table).model_copy(update=entries) for table, entries in changes.items()}
    )
    rough = Frame(
        (corner[0] + draw.uniform(-1.5, 1.5), corner[1] + draw.uniform(-1.5, 1.5)), turned + draw.uniform(-2.0, 2.0)
    )
    return plant, rough


def work_of(
    bench: Bench, rough: Frame, thickness_mm: float, found: list[Any], what: str, virtual: VirtualMachine
) -> Cycle[RunEnded]:
    about = About(rough, 2.2, 2.0, thickness_mm, TOUCH_MM, (75.0, 55.0))
    yield from make_ready(bench)
    # Everything wet: the jet runs over the plate before it is touched.
    virtual.carry_out([Switch(Output.WATER, True)])
    for _ in range(100):
        yield ()
    virtual.carry_out([Switch(Output.WATER, False)])
    face = yield from locate_plane(bench, about)
    found.append(face)
    if what == "corner":
        found.append((yield from locate_corner(bench, about, face, CORNER_MM, inside=False)))
    else:
        found.append((yield from locate_round(bench, about, face, BORE_MM[:2], BORE_MM[2], None)))
    yield from rise_to_top(bench)
    return RunEnded(bench.now_s, "complete", "")


def once(
    what: str, machine: Machine, job: Job, plant: PlantSettings, rough: Frame, seed: int
) -> tuple[VirtualMachine, list[Any], float, str]:
    virtual = VirtualMachine(machine, job, Plan((), ()), plant, seed)
    found: list[Any] = []
    core = BenchWork(
        machine,
        lambda bench: work_of(bench, rough, job.work.thickness_mm, found, what, virtual),
        job.electrode.diameter_mm,
    )
    do_virtually(core, virtual, 1.0 / machine.tick_hz)
    ended = core.ended
    assert ended is not None
    return virtual, found, ended.time_s, "" if ended.outcome == "complete" else ended.reason


def place_of(virtual: VirtualMachine, plant: PlantSettings, u_mm: float, v_mm: float) -> tuple[float, float]:
    """Where the axes must stand, arrived toward smaller figures, for the tip to stand over a place of the plate."""
    placed = virtual.truth.placed
    assert placed is not None
    x_um, y_um, _ = placed.on_face(u_mm * UM_PER_MM, v_mm * UM_PER_MM)
    off_x, off_y = virtual.truth.axes_off_um
    return (x_um - off_x - plant.rod.runout_um) / UM_PER_MM, (y_um - off_y) / UM_PER_MM


def measure(count: int, seed: int, tell: Callable[[str], None]) -> dict[str, Tally]:
    machine, job = load_machine(resolve("virtual", kind="machines")), load_job(resolve("diffuser", kind="jobs"))
    tallies: dict[str, Tally] = {}
    draw = random.Random(seed)
    seconds: list[float] = []
    lost = 0

    def take(name: str, error: float, u: float) -> None:
        tallies.setdefault(name, Tally()).take(error, u)

    for number in range(count):
        plant, rough = setup(draw)
        run_seed = draw.randrange(1 << 30)
        for what in ("corner", "bore"):
            virtual, found, took_s, trouble = once(what, machine, job, plant, rough, run_seed)
            if trouble:
                lost += 1
                tell(f"set-up {number}, {what}: {trouble}")
                continue
            seconds.append(took_s)
            face = found[0]
            assert isinstance(face, FacePlane)
            placed = virtual.truth.placed
            assert placed is not None
            true_z = placed.face_um(face.x_mm * UM_PER_MM, face.y_mm * UM_PER_MM) / UM_PER_MM
            off_z = virtual.truth.axes_off_z_um / UM_PER_MM
            take("plane, height", face.z_mm + off_z - true_z, face.u_z_mm)
            for axis in (0, 1):
                # As a height over the 50 mm to the plate's edge.
                take(
                    "plane, slope over 50 mm", 50.0 * (face.slope[axis] - placed.slope[axis]), 50.0 * face.u_slope[axis]
                )
            at = found[1]
            if isinstance(at, Corner):
                x, y = place_of(virtual, plant, 0.0, 0.0)
                take("corner, x and y", at.x_mm - x, at.u_x_mm)
                take("corner, x and y", at.y_mm - y, at.u_y_mm)
                turn = (at.angle_deg - plant.placed.turned_deg + 180.0) % 360.0 - 180.0
                take("corner, turn over 50 mm", 50.0 * math.radians(turn), 50.0 * math.radians(at.u_angle_deg))
                frame = Frame((at.x_mm, at.y_mm), at.angle_deg, (slope_mm_m(face)[0] / 1e3, slope_mm_m(face)[1] / 1e3))
                for u, v in HOLES_MM:
                    tx, ty = place_of(virtual, plant, u, v)
                    px, py = frame.to_machine((u, v))
                    take("hole against plan", math.hypot(px - tx, py - ty), 0.025)
            if isinstance(at, Round):
                x, y = place_of(virtual, plant, *BORE_MM[:2])
                take("bore, x and y", at.x_mm - x, at.u_x_mm)
                take("bore, x and y", at.y_mm - y, at.u_y_mm)
                take("bore, diameter", at.diameter_mm - BORE_MM[2], at.u_diameter_mm)
    print(f"{count} set-ups, seed {seed}: {lost} of {2 * count} procedures ended without a result;")
    print(f"one takes {median(seconds):.0f} s of machine time (median)")
    return tallies


def _rms(figures: list[float]) -> float:
    return math.sqrt(sum(figure * figure for figure in figures) / len(figures))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--setups", type=int, default=200)
    asked = parser.parse_args()
    tallies = measure(asked.setups, asked.seed, print)
    print(f"{'':26}{'n':>5}{'median':>9}{'99 %':>9}{'worst':>9}{'rms':>9}{'stated u':>10}{'inside k = 2':>14}")
    for name, tally in tallies.items():
        errors = sorted(1e3 * error for error in tally.errors)
        high = errors[min(int(0.99 * len(errors)), len(errors) - 1)]
        share = sum(tally.inside) / len(tally.inside)
        print(
            f"{name:26}{len(errors):>5}{median(errors):>7.1f} µm{high:>6.1f} µm{errors[-1]:>6.1f} µm"
            f"{_rms(errors):>6.1f} µm{1e3 * _rms(tally.stated):>7.1f} µm{share:>12.1%}"
        )


if __name__ == "__main__":
    main()
