"""The interlocks: the switching order of the electrical page, travel limits, and what moves in which phase."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.commands import Command, Halt, Home, Move, Output, Switch, Turn, Withhold
from controller.core.interlocks import ROUNDING_UM, Interlocks
from controller.core.observation import BoardState
from controller.core.phases import Phase
from tests.core.given import MACHINE, seen

X, Y, Z = 100_000.0, 100_000.0, -5_000.0  # where `seen` stands
SOURCE, SENSING, WATER = Output.SOURCE, Output.SENSING, Output.WATER
CLEAR_UM = -5_000.0


def locks() -> Interlocks:
    built = Interlocks(MACHINE)
    built.clear_z_um = CLEAR_UM
    return built


def live() -> Interlocks:
    """Interlocks that let the source on at 1 s, in approach, by the rules."""
    built = locks()
    built.proven = built.sensed_open = True
    assert built.check(Switch(WATER, True), Phase.APPROACH, seen(time_s=0.5)) is None
    assert built.check(Switch(SOURCE, True), Phase.APPROACH, seen(time_s=1.0, flow=True)) is None
    return built


def refused(built: Interlocks, command: Command, phase: Phase, **changes: Any) -> str:
    return built.check(command, phase, seen(**changes)) or ""


# -- closing the source --------------------------------------------------------------------------------------------


CLOSING = (Phase.APPROACH, Phase.COMMISSION)


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase not in CLOSING])
def test_the_source_closes_in_approach_and_in_commission_only(phase: Phase) -> None:
    """Even with everything else in order, no other phase lets the source on."""
    built = locks()
    built.proven = built.sensed_open = True
    built.on[WATER] = True
    assert f"does not close in {phase.value}" in refused(built, Switch(SOURCE, True), phase, flow=True)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({}, ""),
        ({"flow": True}, "without water only"),
        ({"guard_closed": False}, "guard shut"),
        ({"stop_pressed": True}, "stop released"),
        ({"homed": False}, "referenced axes only"),
        ({"board": BoardState.LOST}, "referenced axes only"),
        ({"z_um": CLEAR_UM - 20.0}, "clear height"),
    ],
)
def test_in_commission_the_source_closes_on_a_clear_electrode_without_water(changes: dict[str, Any], why: str) -> None:
    """The plan of commissioning: water off, electrode clear, guard closed."""
    built = locks()
    built.proven = built.sensed_open = True
    told = refused(built, Switch(SOURCE, True), Phase.COMMISSION, **changes)
    assert (why in told) if why else not told


@pytest.mark.parametrize("phase", Phase)
def test_the_heartbeat_is_withheld_in_commission_only(phase: Phase) -> None:
    assert bool(refused(locks(), Withhold(), phase)) == (phase is not Phase.COMMISSION)


def test_a_contact_that_has_opened_by_itself_may_be_commanded_off() -> None:
    """The gate was starved and let it go: there is no current any more; just after closing that is not known."""
    built = live()
    assert "open for 50 ms" in refused(built, Switch(SOURCE, False), Phase.COMMISSION, time_s=1.05)
    assert not refused(built, Switch(SOURCE, False), Phase.COMMISSION, time_s=1.2)


def test_axes_are_referenced_with_the_sensing_feed_on_in_a_phase_of_its_own() -> None:
    """A tip that goes down instead of up is then stopped by what it meets."""
    built = locks()
    assert not refused(built, Switch(SENSING, True), Phase.REFERENCE)
    assert not refused(built, Home(), Phase.REFERENCE)
    assert refused(built, Home(), Phase.COMMISSION)


@pytest.mark.parametrize(("proven", "sensed_open"), [(False, True), (True, False), (False, False)])
def test_the_source_closes_after_proof_and_open_gap_only(proven: bool, sensed_open: bool) -> None:
    """Closing cold needs the proof of isolation and a gap seen open on the sensing path (electrics.md)."""
    built = locks()
    built.proven, built.sensed_open = proven, sensed_open
    built.on[WATER] = True
    assert "proven" in refused(built, Switch(SOURCE, True), Phase.APPROACH, flow=True)


def test_a_proof_serves_one_closing() -> None:
    """After the source was on, the next closing needs a proof of its own."""
    built = live()
    built.gap_open_s = 1.0
    assert built.check(Switch(SOURCE, False), Phase.RETRACT, seen(time_s=2.0)) is None
    assert "proven" in refused(built, Switch(SOURCE, True), Phase.APPROACH, time_s=3.0, flow=True)


def test_the_source_closes_with_confirmed_flow_only() -> None:
    """A pump that is on is no flow; the flow switch has to say so (electrics.md, cold switching)."""
    built = locks()
    built.proven = built.sensed_open = True
    assert built.check(Switch(WATER, True), Phase.APPROACH, seen()) is None
    assert "flow" in refused(built, Switch(SOURCE, True), Phase.APPROACH, time_s=1.0, flow=False)


def test_sensing_is_off_for_50_ms_before_the_source_closes() -> None:
    """Break before make, at least 50 ms (electrics.md), on the way from sensing to source."""
    built = locks()
    assert built.check(Switch(SENSING, True), Phase.PROBE, seen(time_s=1.0)) is None
    built.proven = built.sensed_open = True
    built.on[WATER] = True
    assert "sensing" in refused(built, Switch(SOURCE, True), Phase.APPROACH, time_s=2.0, flow=True)
    assert built.check(Switch(SENSING, False), Phase.PROBE, seen(time_s=2.0)) is None
    assert "50 ms" in refused(built, Switch(SOURCE, True), Phase.APPROACH, time_s=2.04, flow=True)
    assert built.check(Switch(SOURCE, True), Phase.APPROACH, seen(time_s=2.06, flow=True)) is None


# -- opening the source --------------------------------------------------------------------------------------------


def test_the_source_opens_cold_after_queue_and_gap() -> None:
    """Opening: queue drained, then gap open for 50 ms, then open (electrics.md, cold switching)."""
    built = live()
    built.gap_open_s = 0.06
    assert "queue" in refused(built, Switch(SOURCE, False), Phase.RETRACT, queued=1)
    built.gap_open_s = 0.04
    assert "50 ms" in refused(built, Switch(SOURCE, False), Phase.RETRACT)
    built.gap_open_s = 0.05
    assert built.check(Switch(SOURCE, False), Phase.RETRACT, seen()) is None
    assert built.hot_openings == 0


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase is not Phase.FAULT])
def test_only_a_fault_opens_the_source_hot(phase: Phase) -> None:
    """Under current the contact opens in fault alone (electrics.md)."""
    assert "fault" in refused(live(), Switch(SOURCE, False, hot=True), phase)


def test_hot_openings_are_counted() -> None:
    """Each wears the contact, so each is counted; switching off what is off is none."""
    built = live()
    assert built.check(Switch(SOURCE, False, hot=True), Phase.FAULT, seen()) is None
    assert built.check(Switch(SOURCE, False, hot=True), Phase.FAULT, seen()) is None
    assert built.hot_openings == 1


def test_the_water_outlives_the_source() -> None:
    """Water off comes last, after the read-back says that the source contact is open (electrics.md)."""
    built = live()
    built.gap_open_s = 1.0
    assert "proven open" in refused(built, Switch(WATER, False), Phase.RETRACT, contact_open=False)
    assert built.check(Switch(SOURCE, False), Phase.RETRACT, seen(contact_open=False)) is None
    assert "proven open" in refused(built, Switch(WATER, False), Phase.RETRACT, contact_open=False)
    assert built.check(Switch(WATER, False), Phase.RETRACT, seen(contact_open=True)) is None


# -- sensing -------------------------------------------------------------------------------------------------------


def test_sensing_waits_50_ms_after_the_source_and_for_the_read_back() -> None:
    """Break before make, at least 50 ms (electrics.md), on the way from source to sensing."""
    built = live()
    built.gap_open_s = 1.0
    assert "source" in refused(built, Switch(SENSING, True), Phase.SHORT_RECOVER, time_s=2.0)
    assert built.check(Switch(SOURCE, False), Phase.SHORT_RECOVER, seen(time_s=2.0)) is None
    assert "50 ms" in refused(built, Switch(SENSING, True), Phase.SHORT_RECOVER, time_s=2.04)
    assert "source" in refused(built, Switch(SENSING, True), Phase.SHORT_RECOVER, time_s=2.1, contact_open=False)
    assert built.check(Switch(SENSING, True), Phase.SHORT_RECOVER, seen(time_s=2.1)) is None


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.APPROACH, Phase.ERODE, Phase.RETRACT])
def test_sensing_has_its_phases(phase: Phase) -> None:
    """The feed is on in probe, short-recover, hold and fault, and nowhere else (the frozen table)."""
    assert "no sensing" in refused(locks(), Switch(SENSING, True), phase)


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.PROBE, Phase.HOLD, Phase.FAULT])
def test_water_has_its_phases(phase: Phase) -> None:
    """Water is not turned on where a film would spoil a touch or nobody erodes (the frozen table)."""
    assert "no water" in refused(locks(), Switch(WATER, True), phase)


@pytest.mark.parametrize(
    ("output", "phase", "expected"),
    [
        (SOURCE, Phase.IDLE, "source"),
        (SOURCE, Phase.PROBE, "source"),
        (SOURCE, Phase.HOLD, "source"),
        (SOURCE, Phase.ERODE, None),
        (SOURCE, Phase.RETRACT, None),
        (SENSING, Phase.APPROACH, "sensing"),
        (SENSING, Phase.PROBE, None),
        (SOURCE, Phase.FAULT, None),  # entered in order to switch off
    ],
)
def test_what_is_on_and_may_not_be_is_named(output: Output, phase: Phase, expected: str | None) -> None:
    """Entering a phase with something on that it does not permit is noticed."""
    built = locks()
    built.on[output] = True
    assert built.unpermitted(phase) == expected


# -- moving --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "target",
    [(-100.0, Y, Z), (X, 220_100.0, Z), (X, Y, 100.0), (X, Y, -90_100.0)],
)
def test_no_move_leaves_the_travel(target: tuple[float, float, float]) -> None:
    """A tenth of a millimetre beyond the machine file's travel is refused, on each axis."""
    assert "outside the travel" in refused(locks(), Move(*target, 1000.0), Phase.IDLE)


@pytest.mark.parametrize(
    "changes", [{"homed": False}, {"board": BoardState.ALARM}, {"board": BoardState.LOST}, {"board": BoardState.HOMING}]
)
def test_nothing_moves_unreferenced(changes: dict[str, Any]) -> None:
    """Without known positions there is no safe move."""
    assert refused(locks(), Move(X, Y, Z + 1000.0, 1000.0), Phase.IDLE, **changes) == "the axes are not referenced"


@pytest.mark.parametrize("phase", [Phase.APPROACH, Phase.ERODE, Phase.SHORT_RECOVER, Phase.HOLD, Phase.FAULT])
def test_no_sideways_motion_near_the_work(phase: Phase) -> None:
    """Where the tip may stand in a hole, nothing goes sideways (the frozen table)."""
    assert refused(locks(), Move(X + 1000.0, Y, Z, 100.0), phase) != ""


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.RETRACT])
def test_travel_is_at_clear_height_with_the_source_off(phase: Phase) -> None:
    """Sideways in idle and retract: at clear height, source off; neither from below nor to below (the frozen table)."""
    built = locks()
    assert built.check(Move(X + 1000.0, Y, CLEAR_UM, 10_000.0), phase, seen()) is None
    assert "clear height" in refused(locks(), Move(X + 1000.0, Y, CLEAR_UM, 10_000.0), phase, z_um=CLEAR_UM - 100.0)
    assert refused(locks(), Move(X + 1000.0, Y, CLEAR_UM - 100.0, 10_000.0), phase) != ""
    assert "source on" in refused(live(), Move(X + 1000.0, Y, CLEAR_UM, 10_000.0), phase)


@pytest.mark.parametrize("phase", [Phase.RETRACT, Phase.SHORT_RECOVER, Phase.HOLD, Phase.FAULT])
def test_no_forward_feed_where_the_way_is_back(phase: Phase) -> None:
    """Forward is down: it belongs to approach, erode, probe, and to jogging in idle (the frozen table)."""
    assert refused(locks(), Move(X, Y, Z - 100.0, 10.0), phase) != ""


def test_forward_after_back_is_judged_from_where_the_axis_was_sent() -> None:
    """A move that is still queued counts: forward is judged against the last target, not against the last report."""
    built = locks()
    assert built.check(Move(X, Y, Z + 1000.0, 5000.0), Phase.RETRACT, seen()) is None
    assert "forward" in refused(built, Move(X, Y, Z + 500.0, 5000.0), Phase.RETRACT)


def crept(phase: Phase, by_um: tuple[float, float, float], seen_keeps_up: bool, built: Interlocks) -> float:
    """How far many small moves, none beyond rounding, get along an axis before one is refused (2 mm at most)."""
    at = (X, Y, Z)
    for _ in range(int(2000.0 / max(abs(um) for um in by_um))):
        target = (at[0] + by_um[0], at[1] + by_um[1], at[2] + by_um[2])
        stands = dict(zip(("x_um", "y_um", "z_um"), at, strict=True)) if seen_keeps_up else {}
        if built.check(Move(*target, 100.0), phase, seen(**stands)) is not None:
            break
        at = target
    return max(abs(at[0] - X), abs(at[1] - Y), abs(at[2] - Z))


@pytest.mark.parametrize("phase", [Phase.APPROACH, Phase.ERODE, Phase.SHORT_RECOVER, Phase.HOLD])
@pytest.mark.parametrize("by_um", [(5.0, 0.0, 0.0), (0.0, -10.0, 0.0), (-1.0, 1.0, 0.0)])
@pytest.mark.parametrize("seen_keeps_up", [True, False])
def test_small_sideways_moves_add_up(phase: Phase, by_um: tuple[float, float, float], seen_keeps_up: bool) -> None:
    """Each within the rounding of a step, together a way: no further than rounding, whatever the board reports."""
    assert crept(phase, by_um, seen_keeps_up, locks()) <= ROUNDING_UM


def test_small_sideways_moves_below_the_clear_height_add_up_too() -> None:
    """In idle and retract travel belongs to the clear height, however finely it is cut."""
    for phase in (Phase.IDLE, Phase.RETRACT):
        built = locks()
        built.clear_z_um = Z + 2000.0
        assert crept(phase, (5.0, 0.0, 0.0), True, built) <= ROUNDING_UM


@pytest.mark.parametrize("phase", [Phase.RETRACT, Phase.SHORT_RECOVER, Phase.HOLD])
@pytest.mark.parametrize("step_um", [2.5, 10.0])
@pytest.mark.parametrize("seen_keeps_up", [True, False])
def test_small_forward_moves_add_up_where_the_way_is_back(phase: Phase, step_um: float, seen_keeps_up: bool) -> None:
    """Forward within rounding is counted from the highest place of the phase, not from the last small move."""
    assert crept(phase, (0.0, 0.0, -step_um), seen_keeps_up, locks()) <= ROUNDING_UM


def test_after_a_lift_forward_is_counted_from_its_top() -> None:
    """Half a millimetre up and then down in small steps: none of it is free, though the start lies far below."""
    built = locks()
    assert built.check(Move(X, Y, Z + 500.0, 5000.0), Phase.SHORT_RECOVER, seen()) is None
    at_um = Z + 500.0
    while built.check(Move(X, Y, at_um - 5.0, 100.0), Phase.SHORT_RECOVER, seen(z_um=at_um)) is None:
        at_um -= 5.0
    assert Z + 500.0 - at_um <= ROUNDING_UM


def test_a_way_that_was_permitted_is_made() -> None:
    """After travel at clear height small moves count from where it ended, so the next way needs no way back."""
    built = locks()
    for x_um in (X + 5000.0, X + 9000.0, X):
        assert built.check(Move(x_um, Y, CLEAR_UM, 10_000.0), Phase.IDLE, seen()) is None
    assert built.check(Move(X + 10.0, Y, CLEAR_UM - 3000.0, 1000.0), Phase.IDLE, seen()) is None
    assert "clear height" in refused(built, Move(X + 20.0, Y, CLEAR_UM - 3000.0, 1000.0), Phase.IDLE)


def test_jogging_needs_the_source_off_and_read_back() -> None:
    """Idle jogs down only with the source commanded off and its contact proven open."""
    assert locks().check(Move(X, Y, Z - 1000.0, 5000.0), Phase.IDLE, seen()) is None
    assert "source" in refused(locks(), Move(X, Y, Z - 1000.0, 5000.0), Phase.IDLE, contact_open=False)


@pytest.mark.parametrize("phase", [Phase.PROBE, Phase.APPROACH, Phase.ERODE])
@pytest.mark.parametrize("step_um", [2.5, 12.0, 40.0])
def test_many_small_moves_go_no_faster_than_one_long_one(phase: Phase, step_um: float) -> None:
    """However the feed is cut into moves, over a second it stays within the phase's speed, the play once on top."""
    from controller.core.permissions import PERMISSIONS

    built, gone_um = locks(), 0.0
    built.proven = built.on[Output.SENSING] = phase is Phase.PROBE  # without both nothing goes down in probe
    for tick in range(101):
        for _ in range(3):
            if built.check(Move(X, Y, Z - gone_um - step_um, 5000.0), phase, seen(time_s=tick * 0.01)) is None:
                gone_um += step_um
    limit_um = PERMISSIONS[phase].forward_um_s
    assert gone_um <= limit_um * 1.1 + MACHINE.axes.backlash_um[2]
    assert gone_um >= min(limit_um, 300.0 * step_um) * 0.9


@pytest.mark.parametrize("lacking", ["proof", "sensing", "contact"])
def test_no_touch_goes_down_unproven(lacking: str) -> None:
    """In probe a forward move needs the proof of isolation, the sensing feed on, and the source contact open."""
    built = locks()
    built.proven, built.on[Output.SENSING] = lacking != "proof", lacking != "sensing"
    down = Move(X, Y, Z - 2.5, 5000.0)
    assert "isolation" in refused(built, down, Phase.PROBE, contact_open=lacking != "contact")


def test_a_gap_sensed_open_is_forgotten_on_the_way_down() -> None:
    """What was sensed open says nothing of a place further down."""
    built = locks()
    built.sensed_open = True
    assert built.check(Move(X, Y, Z - 1000.0, 5000.0), Phase.IDLE, seen()) is None
    assert not built.sensed_open


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.PROBE, Phase.FAULT])
def test_the_electrode_does_not_turn_where_it_is_touched_with_or_travels(phase: Phase) -> None:
    """Turning is refused there; stopping it never is."""
    assert "turning" in refused(locks(), Turn(120.0), phase)
    assert locks().check(Turn(0.0), phase, seen()) is None


def test_no_phase_without_water_is_entered_with_it() -> None:
    """Water on is told on entering idle, probe or hold, not where the phase permits it."""
    built = locks()
    built.on[Output.WATER] = True
    assert [built.unpermitted(phase) for phase in (Phase.IDLE, Phase.PROBE, Phase.HOLD)] == ["water"] * 3
    assert [built.unpermitted(phase) for phase in (Phase.APPROACH, Phase.ERODE, Phase.RETRACT)] == [None] * 3


def test_after_a_halt_the_axis_is_where_it_is_seen() -> None:
    """A halt drops what was queued, so the next move is judged from the board's own account."""
    built = locks()
    assert built.check(Move(X, Y, Z + 2000.0, 5000.0), Phase.RETRACT, seen()) is None
    assert built.check(Halt(), Phase.RETRACT, seen()) is None
    assert built.check(Move(X, Y, Z + 500.0, 5000.0), Phase.RETRACT, seen()) is None


@pytest.mark.parametrize(
    ("phase", "expected"), [(Phase.IDLE, True), (Phase.RETRACT, True), (Phase.PROBE, False), (Phase.HOLD, False)]
)
def test_homing_belongs_to_idle_and_retract(phase: Phase, expected: bool) -> None:
    """Homing, like travel, needs the source off and belongs to idle and retract (the frozen table)."""
    assert (locks().check(Home(), phase, seen()) is None) == expected
    assert live().check(Home(), phase, seen()) is not None
