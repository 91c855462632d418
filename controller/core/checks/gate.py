"""Checks of the fail-safe gate on its pump: water comes with the heartbeat, and goes when the heartbeat is stopped."""

from __future__ import annotations

from typing import Final

from controller.core.checks.examination import Check, Examination, Verdict, failed, not_done, passed
from controller.core.commands import Output, Switch, Withhold
from controller.core.cycles.wait import pause, until
from controller.core.events import Figure
from controller.core.rig import Cycle

# The source drops first, the pump at least 0.5 s later and within 2 s (electrics.md); a flow switch falls a little
# after the flow (chosen: half a second).
PUMP_LEAST_S, PUMP_MOST_S = 0.5, 2.5
WATER_STEADY_S: Final = 0.5  # chosen: a flow switch has stopped bobbing
NO_SUPPLY: Final = (
    "look first at the supply of the heartbeat's charge pump and at the heartbeat pin: without it the gate lets "
    "neither pump nor source on"
)


def _pump(exam: Examination) -> Cycle[Verdict]:
    bench = exam.bench
    if not exam.source_away:
        return not_done("no water while the source stands on the electrode")
    if not bench.sense.seen.level_ok:
        return not_done("the tank reads low", "fill it, then start again")
    if bench.sense.seen.flow:
        return failed("the flow switch says that water runs with the pump off", "look at the flow switch and its wire")
    yield (Switch(Output.WATER, True),)
    began_s = bench.now_s
    flowed = yield from until(bench, lambda: bench.sense.seen.flow, bench.machine.water.flow_timeout_s)
    on_s = Figure("flow after", bench.now_s - began_s, "s", 2)
    if flowed:
        yield from pause(bench, WATER_STEADY_S)
    yield (Switch(Output.WATER, False),)
    if not flowed:
        return failed(
            "no heartbeat supply, or no water: the pump was switched on and no flow came",
            f"{NO_SUPPLY}; then at pump, tank, filter and flow switch",
            on_s,
        )
    began_s = bench.now_s
    stopped = yield from until(bench, lambda: not bench.sense.seen.flow, PUMP_MOST_S)
    off_s = Figure("stopped after", bench.now_s - began_s, "s", 2)
    if not stopped:
        return failed(
            "the flow switch goes on saying that water runs with the pump off",
            "look at the pump's relay and at the flow switch",
            on_s,
            off_s,
        )
    return passed("water comes and goes with the pump, and the flow switch says so", on_s, off_s)


def _starved_pump(exam: Examination) -> Cycle[Verdict]:
    bench = exam.bench
    yield (Switch(Output.WATER, True),)
    yield from until(bench, lambda: bench.sense.seen.flow, bench.machine.water.flow_timeout_s)
    yield from pause(bench, WATER_STEADY_S)
    began_s = bench.now_s
    while bench.sense.seen.flow and bench.now_s - began_s <= PUMP_MOST_S:
        yield (Withhold(),)
    fell_s = Figure("stopped after", bench.now_s - began_s, "s", 2)
    yield (Switch(Output.WATER, False),)
    if bench.sense.seen.flow:
        return failed(
            "without heartbeat the pump goes on: the fail-safe gate does not cut it",
            "the pump must hang on the gate, not on a pin alone nor on the motion board; run no job before it does",
            fell_s,
        )
    if fell_s.figure < PUMP_LEAST_S:
        return failed(
            "without heartbeat the water stops before the source can be trusted to be away",
            "give the pump's part of the gate more hold-up: 0.5 s after the source at least",
            fell_s,
        )
    yield from pause(bench, WATER_STEADY_S)
    return passed("without heartbeat the pump stops by itself", fell_s)


GATE: Final = (
    Check("pump", "Pump, flow input, heartbeat supply", (), _pump),
    Check("starved-pump", "Heartbeat stopped: pump", ("pump",), _starved_pump),
)
