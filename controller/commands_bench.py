"""`gapwright jog`, `touch`, `measure`: single commands over the real wires, with the rules of a run."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Annotated

import typer

from controller.cautions import BEFORE_A_MOVE, acknowledge
from controller.connecting import OnMachine, opened, refuse_unfit
from controller.core.commissioning import BenchWork
from controller.core.cycles.single import Place, jog, measured, touch_at
from controller.core.events import Arrived, ElectrodeMeasured, Event, RunEnded, Touched
from controller.core.rig import Bench, Cycle
from controller.ending import EXIT
from controller.host.bench_desk import BenchDesk
from controller.host.loop import drive
from controller.host.realtime import be_on_time, be_ordinary
from controller.host.session import Session
from controller.host.stop_signals import StopSignals, stop_signals
from controller.link.machine_link import MachineLink
from controller.screen import AsJson, BadUsage, err, out
from controller.settings.machine import Machine
from controller.teller import teller_process
from controller.workshop import machine_at_hand

Yes = Annotated[bool, typer.Option("--yes", help="The cautions were read: for scripts.")]
MM = "MM"
AXES = "xyz"


def jog_command(
    machine: OnMachine,
    x_mm: Annotated[float | None, typer.Option("--x", metavar=MM, help="Where to, machine frame.")] = None,
    y_mm: Annotated[float | None, typer.Option("--y", metavar=MM, help="Where to, machine frame.")] = None,
    z_mm: Annotated[
        float | None, typer.Option("--z", metavar=MM, help="Where to: the holder's face, up is more.")
    ] = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Reference the axes and go to a place, the source off: up first, then sideways, then down.

    Below the clear height it goes slowly, with the source proven isolated, and stops where the tip meets metal.
    """
    believed = machine_at_hand(machine)
    _refuse_outside(believed, (x_mm, y_mm, z_mm))
    _do(believed, jog(Place(x_mm, y_mm, z_mm)), yes=yes, as_json=as_json, stays=True)


def touch_command(
    machine: OnMachine,
    x_mm: Annotated[float, typer.Option("--x", metavar=MM, help="Where, machine frame.")],
    y_mm: Annotated[float, typer.Option("--y", metavar=MM, help="Where, machine frame.")],
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Reference the axes and touch what lies at a place, on the sensing path, the source proven isolated."""
    believed = machine_at_hand(machine)
    _refuse_outside(believed, (x_mm, y_mm, None))
    _do(believed, touch_at(x_mm, y_mm), yes=yes, as_json=as_json)


def measure_command(machine: OnMachine, yes: Yes = False, as_json: AsJson = False) -> None:
    """Reference the axes and measure the electrode on the reference plate, the source proven isolated."""
    _do(machine_at_hand(machine), measured, yes=yes, as_json=as_json)


def _refuse_outside(machine: Machine, place: Sequence[float | None]) -> None:
    """Soft limits, before anything is opened."""
    axes = machine.axes
    for letter, at, low, high in zip(AXES, place, axes.travel_min_mm, axes.travel_max_mm, strict=True):
        if at is not None and not low <= at <= high:
            raise BadUsage(f"--{letter} {at:g}: outside the travel of {machine.name}, which is {low:g} to {high:g} mm")


def _do(
    machine: Machine, work: Callable[[Bench], Cycle[RunEnded]], *, yes: bool, as_json: bool, stays: bool = False
) -> None:
    acknowledge(yes=yes, before=BEFORE_A_MOVE)
    with stop_signals() as stop:
        ended, events = _driven(machine, BenchWork(machine, work, stays=stays), stop, quiet=as_json)
    _show(machine, ended, events, as_json=as_json)
    raise typer.Exit(EXIT[ended.outcome])


def _driven(machine: Machine, core: BenchWork, stop: StopSignals, *, quiet: bool) -> tuple[RunEnded, Sequence[Event]]:
    """Connect, do it, and keep what happened."""
    with teller_process(quiet=quiet) as outlet:
        wires = opened(machine)
        session = Session(MachineLink(machine), core)
        outlet.put("Connecting (some seconds) …")
        outlet.flush()
        be_on_time()
        desk = BenchDesk(outlet, stop, None)
        try:
            drive(session, wires, 1.0 / machine.tick_hz, desk)
        finally:
            be_ordinary()
    if not session.driving:
        refuse_unfit(session, interrupted=desk.interrupted)
    ended = session.ended
    if ended is None:
        ended = RunEnded(desk.time_s, "aborted" if desk.interrupted else "fault", "stopped at once; all is off")
    elif ended.outcome == "held" and desk.interrupted:
        ended = RunEnded(ended.time_s, "aborted", ended.reason)
    return ended, desk.events


def _show(machine: Machine, ended: RunEnded, events: Sequence[Event], *, as_json: bool) -> None:
    found = [event for event in events if isinstance(event, Arrived | Touched | ElectrodeMeasured)]
    if as_json:
        held = {"outcome": ended.outcome, "reason": ended.reason, "found": [event.row() for event in found]}
        out.print(json.dumps(held), markup=False, highlight=False, soft_wrap=True)
        return
    for event in found:
        out.print(_words(machine, event), markup=False, highlight=False, soft_wrap=True)
    if ended.outcome != "complete":
        err.print(f"Ended: {ended.reason}", markup=False, highlight=False, soft_wrap=True)


def _words(machine: Machine, event: Event) -> str:
    match event:
        case Arrived():
            met = ": metal was met here" if event.met else ""
            return f"Axes at x {event.x_mm:.3f}, y {event.y_mm:.3f}, z {event.z_mm:.3f} mm{met}"
        case Touched():
            height_mm = event.axis_z_mm - machine.holder.protrusion_mm
            wet = ", wet" if event.wet else ""
            return (
                f"Contact at x {event.x_mm:.3f}, y {event.y_mm:.3f}, axis z {event.axis_z_mm:.4f} mm "
                f"(spread {event.spread_mm * 1e3:.1f} µm{wet}): a surface at about {height_mm:.1f} mm, "
                f"give or take the electrode's {machine.holder.protrusion_u_mm:g} mm"
            )
        case ElectrodeMeasured():
            return (
                f"The electrode stands out {event.tip_length_mm:.3f} ± {event.u_mm:.3f} mm; the machine file says "
                f"{machine.holder.protrusion_mm:g} ± {machine.holder.protrusion_u_mm:g} mm"
            )
    return ""
