"""Single commands on the virtual boards: jog, touch, measure."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from controller.core.commissioning import BenchWork
from controller.core.cycles.single import Place, jog, measured, touch_at
from controller.core.events import Arrived, ElectrodeMeasured, Event, FaultTripped, RunEnded, Touched
from controller.core.rig import Bench, Cycle
from tests.host.examined import VirtualBench, machine_of

BOTH = pytest.mark.parametrize("convention", ["status", "ack"])


def done(convention: str, work: Callable[[Bench], Cycle[RunEnded]], *faults: str) -> VirtualBench:
    machine = machine_of(convention)
    bench = VirtualBench(machine, BenchWork(machine, work, stays=work is not measured), faults)
    bench.to_end()
    return bench


def last(bench: VirtualBench, kind: type[Event]) -> Event:
    return [event for event in bench.events if isinstance(event, kind)][-1]


@BOTH
def test_a_jog_goes_where_it_is_sent(convention: str) -> None:
    bench = done(convention, jog(Place(120.0, 80.0, -5.0)))
    arrived = last(bench, Arrived)
    assert isinstance(arrived, Arrived)
    assert (arrived.x_mm, arrived.y_mm, arrived.z_mm) == pytest.approx((120.0, 80.0, -5.0), abs=0.01)
    assert bench.wired.plant.truth.face_mm == pytest.approx((120.0, 80.0, -5.0), abs=0.06)  # play of 40 µm
    assert not arrived.met


@BOTH
def test_a_jog_down_stops_where_the_tip_meets_metal(convention: str) -> None:
    """Sent 20 mm into the plate; the sensing feed is on below the clear height."""
    bench = done(convention, jog(Place(60.0, 50.0, -35.0)))
    arrived = last(bench, Arrived)
    assert isinstance(arrived, Arrived)
    assert arrived.met
    truth = bench.wired.plant.truth
    assert truth.tip_mm == pytest.approx(truth.surface_mm(60.0, 50.0), abs=0.1)
    assert truth.crashes == 0


def test_a_touch_finds_the_work() -> None:
    bench = done("status", touch_at(60.0, 50.0))
    touched = last(bench, Touched)
    assert isinstance(touched, Touched)
    truth = bench.wired.plant.truth
    assert touched.axis_z_mm - truth.tip_length_mm == pytest.approx(truth.surface_mm(60.0, 50.0), abs=0.02)


def test_the_electrode_is_measured() -> None:
    bench = done("ack", measured)
    found = last(bench, ElectrodeMeasured)
    assert isinstance(found, ElectrodeMeasured)
    # The plate's height is known to 5 µm, a touch to 5 µm, homing to 4 µm (standard uncertainties); three of them.
    assert found.tip_length_mm == pytest.approx(bench.wired.plant.truth.tip_length_mm, abs=0.03)


def test_nothing_is_touched_while_the_source_can_t_be_proven_away() -> None:
    bench = done("status", touch_at(60.0, 50.0), "contact-stuck@t:0s")
    fault = last(bench, FaultTripped)
    assert isinstance(fault, FaultTripped)
    assert fault.cause == "source not isolated"
    assert not [event for event in bench.events if isinstance(event, Touched)]
