"""Commissioning on the virtual boards: a sound machine passes, an injected fault is named, and nothing is live then."""

from __future__ import annotations

import pytest

from controller.core.checks.plan import CHECKS
from controller.core.commissioning import Commissioning
from controller.core.events import Checked
from controller.core.requests import HoldRequest
from controller.link.findings import findings
from sim.person import obey
from tests.host.examined import VirtualBench, examined, machine_of, plant_of

ALWAYS = {check.name for check in CHECKS} - {"supply", "polarity"}
SLOW = ("repeatability", "backlash", "retract", "fingerprint")
WATCHED = {"source contact stuck": "supply off: off", "referencing unwatched": "go on"}
METER = {"meter for the polarity": "clipped", "sign of the voltage": "plus"}
BOTH = pytest.mark.parametrize("convention", ["status", "ack"])


def figure(verdict: Checked, name: str) -> float:
    return next(each.figure for each in verdict.figures if each.name == name)


def words(bench: VirtualBench, name: str) -> str:
    """What was found and what is to be done."""
    verdict = bench.verdicts[name]
    return f"{verdict.words} | {verdict.remedy}"


@BOTH
@pytest.mark.parametrize("front_end", ["clamp", "biased", "divider"])
def test_a_sound_machine_passes_everything(convention: str, front_end: str) -> None:
    slow = () if (convention, front_end) == ("ack", "biased") else SLOW
    bench = examined(convention, front_end, answers=METER, left_out=slow)
    wanted = (ALWAYS | ({"polarity"} if front_end == "divider" else set())) - set(slow)
    assert set(bench.outcomes("pass")) == set(bench.verdicts) - set(slow) == wanted
    assert bench.session.ended is not None
    assert bench.session.ended.outcome == "complete"
    truth = bench.wired.plant.truth
    assert (truth.crashes, truth.hot_openings, truth.both_feeds_s, truth.live_at_plate_s) == (0, 0, 0.0, 0.0)
    assert (truth.live, truth.flow) == (False, False)


@BOTH
def test_what_is_measured_is_true(convention: str) -> None:
    """Play, drop-outs and latencies of the default plant, which the controller never reads."""
    left_out = SLOW[3:] if convention == "ack" else ()
    plant = plant_of(axes={"backlash_um": 31.0}, source={"dropout_rate_hz": 0.8, "dropout_median_ms": 90.0})
    found = examined(convention, plant=plant, hands_s=0.0, left_out=left_out).verdicts
    step_um = machine_of(convention).useful_move_um
    assert figure(found["backlash"], "B") == pytest.approx(31.0, abs=2.0 + step_um)  # stick-slip of 2 µm, one step
    if "fingerprint" not in left_out:
        # Some 44 of them: a rate to 15 % (Poisson), a median to 0.7 · 1.25 / √44 = 13 % (log-normal); three of each.
        assert figure(found["fingerprint"], "rate") == pytest.approx(0.8, rel=0.45)
        assert figure(found["fingerprint"], "median") == pytest.approx(90.0, rel=0.4)
    assert 60.0 <= figure(found["starved-source"], "fell after") <= 120.0  # hold-up 60, release 20, wire
    assert 0.5 <= figure(found["starved-pump"], "stopped after") <= 2.0
    assert found["stop"].outcome == "not done"


def test_the_source_is_live_for_a_minute_at_the_most_and_never_wet() -> None:
    machine = machine_of("status")
    core = Commissioning(machine, answers=False, hands_s=0.0, left_out=frozenset(SLOW[:3]))
    bench = VirtualBench(machine, core)
    live_s = wet = 0.0
    while not bench.session.over:
        bench.tick()
        live_s += 0.01 * bench.wired.plant.truth.live
        wet += bench.wired.plant.truth.live and bench.wired.plant.truth.flow
    assert 50.0 < live_s <= 60.0
    assert not wet


# -- the five faults, each alone and all together --------------------------------------------------------------------

FAULTS = {
    "contact-stuck": ("contact", "source contact is stuck"),
    "x-reversed": ("axes", "axis x did not find its switch: reversed"),
    "noisy-front-end": ("front-end", "front end is noisy"),
    "no-heartbeat-supply": ("pump", "no heartbeat supply"),
    "source-reversed": ("source", "wrong polarity"),
}


@BOTH
@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_named_and_the_rest_is_checked_as_far_as_it_can_be(convention: str, fault: str) -> None:
    left_out = (*SLOW, "travel") if fault == "source-reversed" else (*SLOW, "travel", "electrode")
    bench = examined(convention, faults=[f"{fault}@t:0s"], answers=WATCHED, left_out=left_out)
    name, said = FAULTS[fault]
    assert said in words(bench, name)
    assert bench.verdicts[name].outcome == "fail"
    assert set(bench.verdicts) >= ALWAYS
    others = set(bench.outcomes("fail")) - {name}
    assert others == set()
    assert bench.session.ended is not None
    assert bench.session.ended.outcome == "fault"


@BOTH
def test_a_wrong_idle_lock_is_read_or_answered(convention: str) -> None:
    """`status` boards list the setting; an `ack` board that can't be told says so by not knowing the word."""
    machine = machine_of(convention)
    core = Commissioning(machine, answers=False, hands_s=0.0, left_out=frozenset())
    bench = VirtualBench(machine, core, ["idle-lock@t:0s"])
    while not bench.session.driving:
        bench.tick()
    boards, settings = findings(bench.session.link, machine, bench.time_s)
    assert (boards.outcome, settings.outcome) == ("pass", "fail")
    assert "idle lock" in settings.words


@BOTH
@pytest.mark.parametrize("axis", "xyz")
def test_all_five_together_are_all_named(convention: str, axis: str) -> None:
    faults = ["contact-stuck", f"{axis}-reversed", "idle-lock", "noisy-front-end", "no-heartbeat-supply"]
    bench = examined(convention, faults=[f"{fault}@t:0s" for fault in faults], answers=WATCHED)
    assert "source contact is stuck" in words(bench, "contact")
    assert f"axis {axis} did not find its switch: reversed" in words(bench, "axes")
    assert "front end is noisy" in words(bench, "front-end")
    assert "no heartbeat supply" in words(bench, "pump")
    assert [problem.name for problem in bench.session.link.problems] == ["idle lock"]
    assert bench.verdicts["supply"].outcome == "pass"


# -- what must not happen ----------------------------------------------------------------------------------------------


def test_a_contact_that_does_not_close_is_laid_to_the_gate_s_supply() -> None:
    left_out = (*SLOW, "travel", "pump")
    bench = examined("status", faults=["no-heartbeat-supply@t:0s"], hands_s=0.0, left_out=left_out)
    assert "no heartbeat supply" in words(bench, "source")
    assert bench.wired.plant.truth.hot_openings == 0


@BOTH
def test_a_stuck_contact_with_nobody_there_stops_everything_that_moves(convention: str) -> None:
    bench = examined(convention, faults=["contact-stuck@t:0s"], hands_s=0.0)
    before = bench.wired.plant.axes.face_um
    assert bench.verdicts["supply"].outcome == "not done"
    assert "nothing moves" in words(bench, "axes")
    assert bench.outcomes("pass") == ["stream"]
    assert bench.wired.plant.axes.face_um == before


def test_a_supply_said_to_be_off_is_looked_at_on_the_pin() -> None:
    """The operator's word alone does not do."""
    bench = examined("status", faults=["contact-stuck@t:0s"], answers={"source contact stuck": "off"})
    assert "still shows a voltage" in words(bench, "supply")
    assert "nothing moves" in words(bench, "axes")


def test_a_supply_that_comes_back_on_a_stuck_contact_ends_all_motion() -> None:
    """Somebody switches it on again while the axes are being referenced."""
    machine = machine_of("status")
    core = Commissioning(machine, answers=True, hands_s=0.0, left_out=frozenset(SLOW))
    bench = VirtualBench(machine, core, ["contact-stuck@t:0s"], WATCHED)
    while core.phase.value != "reference":
        bench.tick()
    for _ in range(100):
        bench.tick()
    obey(bench.wired.plant, "supply on")
    for _ in range(60):
        bench.tick()
    stood = bench.wired.plant.axes.face_um
    bench.to_end()
    assert "source not isolated" in words(bench, "axes")
    assert bench.wired.plant.axes.face_um == stood
    assert bench.verdicts["travel"].outcome == "not done"


@BOTH
def test_a_tip_that_goes_down_instead_of_up_is_stopped_by_what_it_meets(convention: str) -> None:
    machine = machine_of(convention)
    core = Commissioning(machine, answers=False, hands_s=0.0, left_out=frozenset(SLOW[:3]))
    bench = VirtualBench(machine, core, ["z-reversed@t:0s"])
    axes = bench.wired.plant.axes
    x_um, y_um, z_um = axes.face_um
    to_um = (60_000.0 - x_um, 50_000.0 - y_um, -6_000.0 - z_um)  # over the work, some 9 mm above it
    dx, dy, dz = (round(um * per_mm / 1000.0) for um, per_mm in zip(to_um, machine.axes.steps_per_mm, strict=True))
    axes.step(0, 0, dz)
    axes.step(dx, dy, 0)
    bench.to_end()
    assert "z runs the wrong way: the tip met metal" in words(bench, "axes")
    tip_mm = bench.wired.plant.truth.tip_mm
    x_mm, y_mm, _ = bench.wired.plant.truth.face_mm
    # Homing goes at 5 mm/s: two ticks, the wire and the braking are some tenths of a millimetre.
    assert tip_mm > bench.wired.plant.truth.surface_mm(x_mm, y_mm) - 0.5


def test_a_contact_that_welds_while_the_source_is_on_is_named() -> None:
    """It welds during the fingerprint, and nothing is said of the fingerprint then."""
    bench = examined("status", faults=["contact-stuck@t:90s"], hands_s=0.0, left_out=SLOW[:3])
    assert "stuck" in words(bench, "fingerprint")
    assert bench.outcomes("fail") == ["fingerprint"]


def test_without_a_meter_a_divider_s_polarity_is_not_passed() -> None:
    found = examined("status", "divider", hands_s=0.0, left_out=SLOW).verdicts
    assert (found["polarity"].outcome, found["fingerprint"].outcome) == ("not done", "not done")
    answers = METER | {"sign of the voltage": "minus"}
    found = examined("status", "divider", answers=answers, hands_s=0.0, left_out=SLOW).verdicts
    assert "wrong polarity" in found["polarity"].words


def test_a_sampler_that_falls_silent_ends_it_with_a_verdict_for_every_check() -> None:
    bench = examined("status", faults=["stream-stops@t:40s"], hands_s=0.0)
    assert set(bench.verdicts) == ALWAYS
    assert "sampler silent" in bench.verdicts[bench.outcomes("fail")[0]].words
    assert len(bench.outcomes("fail")) == 1
    assert "not reached" in bench.verdicts["fingerprint"].words


def test_an_interruption_ends_it_in_order_with_the_source_off() -> None:
    machine = machine_of("status")
    core = Commissioning(machine, answers=False, hands_s=0.0, left_out=frozenset(SLOW[:3]))
    bench = VirtualBench(machine, core)
    while not bench.wired.plant.truth.live:
        bench.tick()
    for _ in range(100):
        bench.tick()
    bench.tick((HoldRequest("interrupted"),))
    bench.to_end()
    assert bench.session.ended is not None
    assert bench.session.ended.outcome == "held"
    assert not bench.wired.plant.truth.live
    assert bench.wired.plant.truth.hot_openings == 0


@pytest.mark.parametrize(("deed", "name"), [("open guard", "guard"), ("drain tank", "level"), ("stop", "stop")])
def test_an_input_that_reads_wrong_at_rest_is_a_failure(deed: str, name: str) -> None:
    machine = machine_of("status")
    bench = VirtualBench(machine, Commissioning(machine, answers=False, hands_s=0.0, left_out=frozenset(SLOW)))
    obey(bench.wired.plant, deed)
    bench.to_end()
    assert bench.verdicts[name].outcome == "fail"
    assert not bench.wired.plant.truth.live
    assert bench.verdicts["fingerprint"].outcome == "not done"
