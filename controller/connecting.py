"""Opening the ports of a machine and judging what was found at connecting: what commands that drive it share."""

from __future__ import annotations

from typing import Annotated

import typer

from controller.host.ports import PortError
from controller.host.session import Session
from controller.host.wires import Wires
from controller.screen import BadUsage, err
from controller.settings.machine import Machine

# Exit codes frozen in interfaces.md ("Commands"): a machine that is there and not fit to be driven is a fault.
FAULT, INTERRUPTED = 4, 130

OnMachine = Annotated[str, typer.Option("--machine", help="Machine file: a path or a name. There is no default.")]


def opened(machine: Machine) -> Wires:
    """Both ports of a machine, open. Raises BadUsage naming the key of the machine file and what to do."""
    try:
        return Wires(machine)
    except PortError as error:
        raise BadUsage(str(error)) from error


def refuse_unfit(session: Session, *, interrupted: bool) -> None:
    """End a command whose machine could not be driven: every problem with its remedy. Nothing has moved."""
    if interrupted:
        err.print("Interrupted while connecting: nothing was moved or switched on.")
        raise typer.Exit(INTERRUPTED)
    for problem in session.unfit:
        words = f"{problem.wire}: {problem.name}: {problem.found}; {problem.remedy}"
        err.print(words, markup=False, highlight=False, soft_wrap=True)
    err.print("The machine can't be driven as it is; nothing was moved or switched on.")
    raise typer.Exit(FAULT)
