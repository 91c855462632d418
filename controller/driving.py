"""One procedure over the real wires: connect, do it, keep what happened."""

from __future__ import annotations

from collections.abc import Sequence

from controller.connecting import opened, refuse_unfit
from controller.core.conductor import Conductor
from controller.core.events import Event, RunEnded
from controller.host.bench_desk import BenchDesk
from controller.host.loop import drive
from controller.host.realtime import be_on_time, be_ordinary
from controller.host.session import Session
from controller.host.stop_signals import stop_signals
from controller.link.machine_link import MachineLink
from controller.settings.machine import Machine
from controller.teller import teller_process


def driven(machine: Machine, core: Conductor, *, quiet: bool) -> tuple[RunEnded, Sequence[Event]]:
    """Drive a machine by a core until it is over; how it ended, and every event.

    Raises:
        BadUsage: A port can't be opened.
        typer.Exit: The machine is not fit; every reason was told.
    """
    with stop_signals() as stop, teller_process(quiet=quiet) as outlet:
        session = Session(MachineLink(machine), core)
        wires = opened(machine)
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
