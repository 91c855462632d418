"""The guards: each trips on its condition, after its dwell, and not before; and what the core does then."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.causes import MEANINGS, Cause, Trip
from controller.core.commands import Halt, Output, Switch
from controller.core.events import FaultTripped, RunEnded
from controller.core.guards import GUARDS, GuardWatch
from controller.core.interlocks import Interlocks
from controller.core.observation import BoardState
from controller.core.phases import Phase
from controller.core.sense import Sense
from tests.core.crude import CrudeMachine
from tests.core.given import MACHINE, controller, seen
from tests.properties.observations import Upset, spoil

TICK_S = 0.01
# Cause, what is seen, whether the source is commanded on, and the time until the trip (s).
CASES: list[tuple[str, dict[str, Any], bool, float]] = [
    ("sampler silent", {"sampler_age_s": 0.11}, False, 0.0),
    ("stop pressed", {"stop_pressed": True}, False, 0.0),
    ("guard open", {"guard_closed": False, "contact_open": False, "flow": True}, True, 0.0),
    ("tank low", {"level_ok": False}, False, 1.0),
    ("board alarm", {"board": BoardState.ALARM}, False, 0.0),
    ("board lost", {"board": BoardState.LOST}, False, 0.0),
    ("flow lost", {"flow": False, "contact_open": False}, True, 0.3),
    ("no removal", {"flow": True, "contact_open": False}, True, 9.8),
    ("source not isolated", {"contact_open": False, "flow": True}, False, 0.15),
    ("source contact dropped", {"contact_open": True}, True, 0.15),
]


def trip_after(changes: dict[str, Any], source_on: bool, seconds: float = 12.0) -> tuple[str, float]:
    """The cause of the first trip and its time, with a tick's observation repeated; ("", seconds) when none came."""
    watch, sense, locks = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE)
    locks.on[Output.SOURCE] = source_on
    for tick in range(round(seconds / TICK_S)):
        sense.take(seen(**({"time_s": tick * TICK_S} | changes)))
        try:
            watch.check(sense, locks)
        except Trip as trip:
            return trip.cause, tick * TICK_S
    return "", seconds


def test_a_machine_at_rest_trips_nothing() -> None:
    """All well, all off: twelve seconds without a trip."""
    assert trip_after({}, source_on=False) == ("", 12.0)


@pytest.mark.parametrize(("cause", "changes", "source_on", "after_s"), CASES, ids=[case[0] for case in CASES])
def test_each_guard_trips_on_its_condition_after_its_dwell(
    cause: str, changes: dict[str, Any], source_on: bool, after_s: float
) -> None:
    """The cause is named; the time is the dwell, and the contact's settling where it only counts while live."""
    tripped, at_s = trip_after(changes, source_on)
    assert tripped == cause
    assert after_s - 1e-9 <= at_s <= after_s + 0.05


def test_every_guard_has_a_case() -> None:
    """No row of the table goes untested."""
    assert {guard.cause.value for guard in GUARDS} == {
        "host stood still",
        "source contact chatters",
        "drop-out storm",
        "live too long",
        *(case[0] for case in CASES),
    }


def test_a_source_contact_that_opens_and_closes_by_itself_trips() -> None:
    """Six changes within a second; a contact that is commanded on and off makes two."""
    watch, sense, locks = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE)
    locks.on[Output.SOURCE] = True
    cause, tick = "", 0
    while not cause and tick < 100:
        sense.take(seen(time_s=tick * TICK_S, contact_open=tick // 3 % 2 == 1, flow=True))
        try:
            watch.check(sense, locks)
        except Trip as trip:
            cause = trip.cause
        tick += 1
    assert cause == "source contact chatters"
    assert sense.time_s == pytest.approx(0.15)


@pytest.mark.parametrize(("step_s", "source_on", "trips"), [(0.09, True, False), (0.11, True, True), (9, False, False)])
def test_a_host_that_stood_still_with_the_source_on_trips(step_s: float, source_on: bool, trips: bool) -> None:
    """After 100 ms without a heartbeat edge the gate has let go (60 ± 20 and 20 ms, the project's electrics)."""
    watch, sense, locks = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE)
    locks.on[Output.SOURCE] = source_on
    cause = ""
    for time_s in (0.0, TICK_S, TICK_S + step_s):
        sense.take(seen(time_s=time_s, contact_open=not source_on, flow=True))
        try:
            watch.check(sense, locks)
        except Trip as trip:
            cause = trip.cause
    assert cause == ("host stood still" if trips else "")


def test_every_guard_says_what_it_means_and_what_clears_it() -> None:
    """An operator gets the cause, its meaning and a remedy; so he does for every other cause."""
    assert [cause for cause in Cause if not (MEANINGS[cause].words and MEANINGS[cause].remedy)] == []


@pytest.mark.parametrize(("cause", "changes", "source_on", "after_s"), [c for c in CASES if c[3] > 0.0])
def test_a_condition_that_clears_in_time_trips_nothing(
    cause: str, changes: dict[str, Any], source_on: bool, after_s: float
) -> None:
    """True for half its dwell, then untrue for a tick, again and again: a dwell starts anew every time."""
    watch, sense, locks = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE)
    half = round(after_s / TICK_S / 2)
    for tick in range(3 * half):
        well = tick % half == 0
        locks.on[Output.SOURCE] = source_on and not well
        sense.take(seen(time_s=tick * TICK_S, **({} if well else changes)))
        watch.check(sense, locks)


def test_live_without_flow_or_removal_ends_in_time() -> None:
    """Live without confirmed flow at most 0.5 s, live with no removal at most 10 s (the project's interfaces)."""
    assert trip_after({"flow": False, "contact_open": False}, source_on=True)[1] < 0.5
    assert trip_after({"flow": True, "contact_open": False}, source_on=True)[1] < 10.0


Stretch = tuple[int, dict[str, Any], bool, Phase, bool]
DRY = {"flow": False, "contact_open": False}


def commissioning(changes: dict[str, Any], *, source_on: bool, seconds: float = 70.0) -> tuple[str, float]:
    """As `trip_after`, in commission."""
    watch, sense, locks = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE)
    locks.on[Output.SOURCE], locks.phase = source_on, Phase.COMMISSION
    for tick in range(round(seconds / TICK_S)):
        sense.take(seen(**({"time_s": tick * TICK_S} | changes)))
        if cause := tripped(watch, sense, locks):
            return cause, tick * TICK_S
    return "", seconds


def test_a_clear_electrode_may_stand_live_and_dry_for_a_minute_in_commission_and_no_longer() -> None:
    """The plan of commissioning: the source's fingerprint is taken without water, 60 s at the most."""
    cause, at_s = commissioning(DRY, source_on=True)
    assert (cause, round(at_s)) == ("live too long", 60)


@pytest.mark.parametrize("changes", [{"guard_closed": False}, {"stop_pressed": True}, {"board": BoardState.ALARM}])
def test_in_commission_with_the_source_on_everything_trips_as_anywhere(changes: dict[str, Any]) -> None:
    """Only water and removal are done without."""
    assert commissioning(DRY | changes, source_on=True)[1] == 0.0


@pytest.mark.parametrize(
    "changes", [{"stop_pressed": True}, {"level_ok": False}, {"board": BoardState.ALARM}, DRY, {"guard_closed": False}]
)
def test_in_commission_with_the_source_off_what_is_wrong_is_looked_into(changes: dict[str, Any]) -> None:
    """Nothing moves there, and that is where it is to be found out."""
    assert commissioning(changes, source_on=False) == ("", 70.0)


@pytest.mark.parametrize(("count", "cause"), [(5, ""), (600, "source not isolated")])
def test_a_stuck_contact_is_borne_while_the_pin_shows_that_the_supply_is_off(count: int, cause: str) -> None:
    """Somebody switched the supply off at its isolator: the axes may be referenced until a voltage comes back."""
    watch, sense, locks = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE)
    locks.phase, locks.absent = Phase.REFERENCE, True
    found = ""
    for tick in range(1200):
        sense.take(seen(time_s=tick * TICK_S, contact_open=False, samples=[count if tick > 100 else 3] * 10))
        found = found or tripped(watch, sense, locks)
    assert found == cause


def test_drop_outs_are_no_removal() -> None:
    """An open gap whose source drops out for 60 ms three times a second removes nothing, and trips all the same."""
    watch, sense, locks = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE)
    locks.on[Output.SOURCE] = True

    def twelve_seconds() -> None:
        for tick in range(1200):
            low = tick % 33 < 6
            sense.take(seen(time_s=tick * TICK_S, contact_open=False, flow=True, samples=[5 if low else 614] * 10))
            watch.check(sense, locks)

    with pytest.raises(Trip, match="no removal"):
        twelve_seconds()


def test_sparks_are_removal() -> None:
    """A spark every five seconds keeps the guard quiet."""
    watch, sense, locks = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE)
    locks.on[Output.SOURCE] = True
    for tick in range(3000):
        samples = [614] * 4 + [5] * 4 + [614] * 2 if tick % 500 == 0 else [614] * 10
        sense.take(seen(time_s=tick * TICK_S, contact_open=False, flow=True, samples=samples))
        watch.check(sense, locks)


@pytest.mark.parametrize(
    ("field", "reading"),
    [("stop_pressed", True), ("guard_closed", False), ("board", BoardState.LOST), ("sampler_age_s", 1.0)],
)
def test_a_trip_while_eroding_isolates_halts_and_ends_in_fault(field: str, reading: Any) -> None:
    """That tick: source off first, motion halted, the run ends in fault with the cause; water off once proven."""
    machine, core = CrudeMachine(), controller()
    for tick in range(20_000):
        eroding = core.phase.value == "erode"
        upset = [Upset(tick, 1, field, reading)] if eroding else []
        out = core.tick(spoil(machine.observe(), tick, upset))
        machine.carry_out(out.commands)
        if upset:
            break
    assert core.phase.value == "fault"
    assert out.commands[0] == Switch(Output.SOURCE, False, hot=True)
    assert Halt() in out.commands
    assert machine.on == {Output.SOURCE: False, Output.SENSING: False, Output.WATER: True}
    later = [core.tick(machine.observe()).commands for _ in range(5)]
    assert [command for commands in later for command in commands] == [Switch(Output.WATER, False, hot=True)]
    assert [event.kind for event in out.events[:2]] == ["PhaseChanged", "FaultTripped"]
    assert [event.kind for event in out.events if isinstance(event, FaultTripped | RunEnded)] == [
        "FaultTripped",
        "RunEnded",
    ]


def plainly(sense: Sense, locks: Interlocks, since: dict[str, float]) -> str:
    """The table read row by row in every tick: the cause of the first trip, or nothing."""
    for guard in GUARDS:
        if not guard.trips(sense, locks):
            since.pop(guard.cause, None)
        elif sense.time_s - since.setdefault(guard.cause, sense.time_s) >= guard.dwell_s:
            return guard.cause
    return ""


def tripped(watch: GuardWatch, sense: Sense, locks: Interlocks) -> str:
    """The cause of the watch's trip in this tick, or nothing."""
    try:
        watch.check(sense, locks)
    except Trip as trip:
        return trip.cause
    return ""


@given(
    st.lists(
        st.tuples(
            st.integers(1, 120),  # ticks that it lasts
            st.fixed_dictionaries(
                {},
                optional={
                    "contact_open": st.booleans(),
                    "flow": st.booleans(),
                    "stop_pressed": st.just(True),
                    "guard_closed": st.just(False),
                    "level_ok": st.just(False),
                    "sampler_age_s": st.sampled_from([0.09, 0.11]),
                    "board": st.sampled_from(list(BoardState)),
                },
            ),
            st.booleans(),
            st.sampled_from([Phase.ERODE, Phase.COMMISSION, Phase.REFERENCE]),
            st.booleans(),
        ),
        max_size=12,
    )
)
@settings(max_examples=200, deadline=None)
def test_leaving_out_quiet_ticks_changes_no_trip(
    stretches: list[tuple[int, dict[str, Any], bool, Phase, bool]],
) -> None:
    """The watch looks at rows only when something changed; the table read in full every tick is what it must equal."""
    watch, sense, locks, since = GuardWatch(), Sense(MACHINE), Interlocks(MACHINE), dict[str, float]()
    tick = 0
    for ticks, changes, source_on, phase, absent in stretches:
        locks.on[Output.SOURCE] = source_on
        locks.phase, locks.absent = phase, absent
        for _ in range(ticks):
            tick += 1
            sense.take(seen(**({"time_s": tick * TICK_S} | changes)))
            wanted = plainly(sense, locks, since)
            assert tripped(watch, sense, locks) == wanted
            if wanted:
                return
