"""Touching: contact told from water, repeats that agree, and what is said when nothing is met."""

from __future__ import annotations

import numpy as np
import pytest

from controller.core.commands import Output
from controller.core.cycles.touch import wet_offset_um
from controller.core.events import ElectrodeMeasured, FaultTripped, PlayFound, SurfaceMapped, Touched
from controller.core.observation import Observation
from tests.core.crude import CrudeMachine
from tests.core.given import MACHINE, controller

# 1.2 mm rod, face 1.131 mm²; resistance of a film g/(σ·A); feed 5 V through 2.2 kΩ (electrics.md).
FACE_UM2, SERIES_OHM, FEED_V = 1.130973e6, 2200.0, 5.0


def film_v(gap_um: float, us_cm: float) -> float:
    """Pin volts over a film of water: electrics.md gives 0.97 V for 30 µm at 500 µS/cm, 0.37 V at 1500."""
    ohm = gap_um / (us_cm * 1e-10 * FACE_UM2)
    return FEED_V * ohm / (ohm + SERIES_OHM)


@pytest.mark.parametrize(("us_cm", "expected_v"), [(500.0, 0.97), (1500.0, 0.37)])
def test_the_film_reads_as_the_electrical_page_says(us_cm: float, expected_v: float) -> None:
    """Leak through a 30 µm film under a 1.2 mm rod (electrics.md; references §1, I = σ·U·A/g)."""
    assert film_v(30.0, us_cm) == pytest.approx(expected_v, abs=0.01)


def descent(us_cm: float, rng: np.random.Generator, step_um: float = 2.5) -> tuple[list[tuple[float, float]], float]:
    """A slow descent through water to where the reading stays below 0.1 V: the trace, and how far metal was then."""
    trace, gap_um = [], 200.0
    while True:
        volts = film_v(max(gap_um, 0.0), us_cm) + float(rng.normal(0.0, 0.008 / np.sqrt(10)))
        trace.append((-60_000.0 + gap_um, max(volts, 0.0)))
        if volts < 0.1:
            return trace, gap_um
        gap_um -= step_um


@pytest.mark.parametrize("us_cm", [350.0, 500.0, 1500.0])
def test_water_is_taken_off_the_touch(us_cm: float) -> None:
    """What the film makes read as metal too early is found from its own line, within 5 µm in 95 of 100 descents.

    The reach asked of a touch: at most 20 µm in 99 % at 500 µS/cm.
    """
    rng = np.random.default_rng(4)
    errors = []
    for _ in range(100):
        trace, above_um = descent(us_cm, rng)
        offset_um, wet = wet_offset_um(trace)
        assert wet
        errors.append(abs(above_um - offset_um))
    assert np.quantile(errors, 0.95) < 5.0
    assert max(errors) < 20.0


def test_a_dry_touch_is_not_corrected() -> None:
    """Open until metal: there is no water to take off."""
    dry = [(-60_000.0 + 2.5 * n, 5.0) for n in range(40, 0, -1)] + [(-60_000.0, 0.02)]
    assert wet_offset_um(dry) == (0.0, False)


def test_readings_that_rise_on_the_way_down_correct_nothing() -> None:
    """A film that drains while the tip comes down follows no line; the plain touch counts."""
    odd = [(-60_000.0 + 2.5 * n, 0.3 + 0.02 * (40 - n)) for n in range(40, 0, -1)] + [(-60_000.0, 0.05)]
    assert wet_offset_um(odd) == (0.0, True)


def until_mapped(machine: CrudeMachine) -> tuple[list[Touched], list[ElectrodeMeasured], list[SurfaceMapped], str]:
    """Run until the work is mapped or the run has ended; touches, measurements, the map, and the fault's cause."""
    core = controller()
    touches: list[Touched] = []
    measured: list[ElectrodeMeasured] = []
    mapped: list[SurfaceMapped] = []
    cause = ""
    for _ in range(20_000):
        out = core.tick(machine.observe())
        machine.carry_out(out.commands)
        for event in out.events:
            if isinstance(event, Touched):
                touches.append(event)
            elif isinstance(event, ElectrodeMeasured):
                measured.append(event)
            elif isinstance(event, SurfaceMapped):
                mapped.append(event)
            elif isinstance(event, FaultTripped):
                cause = event.cause
        if mapped or core.ended is not None:
            break
    return touches, measured, mapped, cause


@pytest.mark.parametrize("tip_mm", [42.0, 44.3, 48.0])
def test_the_electrode_is_measured_on_the_reference_plate(tip_mm: float) -> None:
    """Whatever it is within the machine file's belief, the length is found to a few steps of the feed axis."""
    _, measured, _, _ = until_mapped(CrudeMachine(tip_mm=tip_mm))
    assert measured[0].tip_length_mm == pytest.approx(tip_mm, abs=0.01)
    assert abs(measured[0].tip_length_mm - tip_mm) < 2.0 * measured[0].u_mm


@pytest.mark.parametrize("face_mm", [-63.0, -60.4, -57.5])
def test_the_work_is_mapped_where_it_is(face_mm: float) -> None:
    """The face is found within the belief of the machine file (2 mm standard uncertainty), level and at its height."""
    touches, _, mapped, _ = until_mapped(CrudeMachine(face_mm=face_mm))
    assert [touch.purpose for touch in touches] == ["the reference plate"] * 3 + ["the work"] * 3
    assert mapped[0].a_mm + 60.0 * (mapped[0].b + mapped[0].c) == pytest.approx(face_mm, abs=0.02)
    assert (mapped[0].b, mapped[0].c) == pytest.approx((0.0, 0.0), abs=5e-4)


@pytest.mark.parametrize("play_um", [0.0, 30.0, 60.0])
def test_a_touch_is_the_same_whatever_the_play(play_um: float) -> None:
    """Contact is always approached downwards, so the play, right or wrong in the machine file, is not in it."""
    _, measured, _, _ = until_mapped(CrudeMachine(play_um=play_um))
    assert measured[0].tip_length_mm == pytest.approx(44.3, abs=0.01)


@pytest.mark.parametrize("play_um", [0.0, 17.5, 40.0, 80.0])
def test_the_play_is_felt_when_the_plate_is_let_go_of(play_um: float) -> None:
    """Whatever the machine file says (40 µm): to a step of the feed axis, once, and for all later retreats."""
    core, machine, found = controller(), CrudeMachine(play_um=play_um), list[PlayFound]()
    for _ in range(6_000):
        out = core.tick(machine.observe())
        machine.carry_out(out.commands)
        found += [event for event in out.events if isinstance(event, PlayFound)]
    assert [event.play_um for event in found] == [pytest.approx(play_um, abs=2.5)]
    assert found[0].believed_um == MACHINE.axes.backlash_um[2]


def test_no_work_is_said_and_not_searched_for_ever() -> None:
    """A plate that is not there ends in a fault that names what was looked for."""
    assert until_mapped(CrudeMachine(face_mm=-75.0))[3] == "nothing found at the work"


def test_a_source_that_is_still_there_ends_in_a_fault() -> None:
    """Both feeds off and the pin still high: the source is on the electrode (electrics.md, proof of isolation)."""
    machine, core = CrudeMachine(), controller()
    cause = ""
    for _ in range(3000):
        seen = machine.observe()
        spoiled: Observation = seen if machine.on[Output.SENSING] else _with_samples(seen, 60)
        out = core.tick(spoiled)
        machine.carry_out(out.commands)
        cause = next((event.cause for event in out.events if isinstance(event, FaultTripped)), cause)
        if core.ended is not None:
            break
    assert cause == "source still there"


def _with_samples(seen: Observation, counts: int) -> Observation:
    seen.samples = [counts] * 10  # 0.29 V: above the 0.2 V that count as absent
    return seen
