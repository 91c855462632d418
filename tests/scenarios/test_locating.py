"""Locating a plate on the virtual machine: what was found is where the plant has it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from controller.core.commissioning import BenchWork
from controller.core.cycles.locate import (
    About,
    locate_corner,
    locate_edge,
    locate_plane,
    locate_round,
    make_ready,
)
from controller.core.events import Event, FaultTripped, RunEnded, SideTouched
from controller.core.found import Corner, Edge, FacePlane, Round
from controller.core.rig import Bench, Cycle
from controller.plan.frame import Frame
from controller.plan.plan import Plan
from controller.settings.find import resolve
from controller.settings.load import load_job, load_machine
from controller.settings.machine import Machine
from controller.settings.units import UM_PER_MM
from sim.machine import VirtualMachine
from sim.settings import load_plant
from sim.single import do_virtually

MACHINE = load_machine(resolve("virtual", kind="machines"))
JOB = load_job(resolve("diffuser", kind="jobs"))
CORNER = (60.0, 50.0)
PLATE: dict[str, Any] = {
    "used": True,
    "corner_mm": CORNER,
    "height_mm": -59.5,
    "turned_deg": 21.0,
    "tilt_mm": 4.0,
    "tilt_towards_deg": 200.0,
    "size_mm": (90.0, 70.0),
    "window_mm": (15.0, 40.0, 50.0, 64.0),
    "bores_mm": ((70.0, 50.0, 11.0),),
    "bosses_mm": ((70.0, 20.0, 9.0),),
}
TOUCHES = ((10.0, 10.0), (80.0, 10.0), (80.0, 62.0), (8.0, 62.0))
# A person's idea of it: off by a millimetre and a degree.
ABOUT = About(Frame((61.0, 49.4), 20.0), 1.6, 2.0, JOB.work.thickness_mm, TOUCHES, (75.0, 55.0))

Find = Callable[[Bench, FacePlane], Cycle[Any]]


def locate(
    find: Find | None, about: About = ABOUT, machine: Machine = MACHINE, **plate: Any
) -> tuple[VirtualMachine, list[Any], list[Event]]:
    plant = load_plant()
    plant = plant.model_copy(update={"placed": plant.placed.model_copy(update=PLATE | plate)})
    virtual = VirtualMachine(machine, JOB, Plan((), ()), plant, 11)
    found: list[Any] = []

    def work(bench: Bench) -> Cycle[RunEnded]:
        yield from make_ready(bench)
        found.append((yield from locate_plane(bench, about)))
        if find is not None:
            found.append((yield from find(bench, found[0])))
        return RunEnded(bench.now_s, "complete", "")

    events = do_virtually(BenchWork(machine, work, JOB.electrode.diameter_mm), virtual, 1.0 / machine.tick_hz)
    return virtual, found, events


def true_mm(virtual: VirtualMachine, u_mm: float, v_mm: float) -> tuple[float, float]:
    """Where the axes stand, arrived toward smaller figures, when the tip is over a place of the plate."""
    placed = virtual.truth.placed
    assert placed is not None
    x, y, _ = placed.on_face(u_mm * UM_PER_MM, v_mm * UM_PER_MM)
    off_x, off_y = virtual.truth.axes_off_um
    return (x - off_x - load_plant().rod.runout_um) / UM_PER_MM, (y - off_y) / UM_PER_MM


def near(found: Any, virtual: VirtualMachine, u_mm: float, v_mm: float) -> None:
    x, y = true_mm(virtual, u_mm, v_mm)
    assert abs(found.x_mm - x) < 3.0 * found.u_x_mm
    assert abs(found.y_mm - y) < 3.0 * found.u_y_mm
    assert max(found.u_x_mm, found.u_y_mm) < 0.012
    assert virtual.truth.crashes == 0


def test_an_outside_corner_gives_place_and_rotation() -> None:
    virtual, (_, corner), events = locate(lambda b, face: locate_corner(b, ABOUT, face, (0.0, 0.0), inside=False))
    assert isinstance(corner, Corner)
    near(corner, virtual, 0.0, 0.0)
    assert abs(corner.angle_deg - 21.0) < 3.0 * corner.u_angle_deg
    assert corner.lost_mm == pytest.approx((0.040, 0.040), abs=0.012)
    assert len([event for event in events if isinstance(event, SideTouched)]) == 6


def test_an_inside_corner_of_a_window() -> None:
    about = About(ABOUT.frame, 1.6, 2.0, ABOUT.thickness_mm, TOUCHES, (22.0, 18.0))
    virtual, (_, corner), _ = locate(lambda b, face: locate_corner(b, about, face, (15.0, 40.0), inside=True))
    near(corner, virtual, 15.0, 40.0)


def test_a_bore_far_from_the_corner_is_reached_however_the_frame_is_turned() -> None:
    """Turned by 1.9° of the 2° that it may be, the middle is believed 2.9 mm from where it is."""
    about = About(Frame(CORNER, 19.1), 0.3, 2.0, ABOUT.thickness_mm, TOUCHES, (75.0, 55.0))
    virtual, (_, bore), _ = locate(lambda b, face: locate_round(b, about, face, (70.0, 50.0), 11.0, None))
    near(bore, virtual, 70.0, 50.0)


def test_a_bore_from_inside_and_a_boss_from_outside() -> None:
    virtual, (_, bore), _ = locate(lambda b, face: locate_round(b, ABOUT, face, (70.0, 50.0), 11.0, None))
    assert isinstance(bore, Round)
    near(bore, virtual, 70.0, 50.0)
    assert bore.diameter_mm == pytest.approx(11.0, abs=3.0 * bore.u_diameter_mm)
    virtual, (_, boss), _ = locate(lambda b, face: locate_round(b, ABOUT, face, (70.0, 20.0), 9.0, 3.0))
    near(boss, virtual, 70.0, 20.0)
    assert boss.diameter_mm == pytest.approx(9.0, abs=3.0 * boss.u_diameter_mm)


def test_one_edge_gives_the_rotation() -> None:
    virtual, (_, edge), _ = locate(lambda b, face: locate_edge(b, ABOUT, face, (0.0, 0.0), 0))
    assert isinstance(edge, Edge)
    assert abs(edge.angle_deg - 21.0) < 3.0 * edge.u_angle_deg
    assert virtual.truth.crashes == 0


def test_the_plane_is_the_true_one_though_the_flat_tip_meets_a_slope_with_its_rim() -> None:
    virtual, (face,), _ = locate(None)
    placed = virtual.truth.placed
    assert placed is not None
    true_z = (placed.face_um(face.x_mm * UM_PER_MM, face.y_mm * UM_PER_MM) - virtual.truth.axes_off_z_um) / UM_PER_MM
    assert abs(face.z_mm - true_z) < 3.0 * face.u_z_mm
    for axis in (0, 1):
        assert abs(face.slope[axis] - placed.slope[axis]) < 4.0 * face.u_slope[axis]
    # Without the rim's correction the height would be off by 0.6 mm times the slope: 24 µm.
    assert 0.6 * math.hypot(*face.slope) == pytest.approx(0.024, abs=1e-3)


def test_over_metal_instead_of_beside_it_the_rod_stops_and_says_so() -> None:
    """The plate lies 12 mm from where it was said to: what should be free is the face."""
    wrong = About(Frame((69.0, 58.0), 21.0), 1.0, 1.0, 1.0, ((20.0, 12.0), (50.0, 12.0), (25.0, 20.0)), (75.0, 55.0))
    virtual, _, events = locate(lambda b, face: locate_corner(b, wrong, face, (0.0, 0.0), inside=False), wrong)
    (fault,) = [event for event in events if isinstance(event, FaultTripped)]
    assert fault.cause == "metal beside the edge along x"
    assert "give a better place" in fault.remedy
    assert virtual.truth.crashes == 0


def test_where_nothing_is_met_that_is_said() -> None:
    """The plate is far away: the edge is not there."""
    gone = About(Frame((60.0, 40.0), 21.0), 1.0, 1.0, 1.0, TOUCHES, (75.0, 55.0))
    _, _, events = locate(lambda b, face: locate_corner(b, gone, face, (0.0, 0.0), inside=False), gone)
    (fault,) = [event for event in events if isinstance(event, FaultTripped)]
    assert fault.cause == "nothing found at the edge along x"


def test_a_rod_that_does_not_fit_a_bore_is_refused_before_it_goes_down() -> None:
    _, _, events = locate(lambda b, face: locate_round(b, ABOUT, face, (70.0, 50.0), 3.0, None))
    (fault,) = [event for event in events if isinstance(event, FaultTripped)]
    assert fault.cause == "bore too narrow"
