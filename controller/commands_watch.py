"""`gapwright watch`: the screen of a run that goes on, from another terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from controller.bus.listener import running
from controller.bus.place import BusError
from controller.screen import BAD_INPUT, BadUsage, err, refuse_no_terminal


def watch(
    run: Annotated[Path | None, typer.Argument(metavar="RUN", help="Folder of the run.", show_default=False)] = None,
) -> None:
    """Show a run that goes on, and steer it; without RUN, the only one there is."""
    from controller.behind import attend  # noqa: PLC0415 (loads the screen)

    refuse_no_terminal("watch")
    attend(run or _only_one())


def alone() -> None:
    """Run `watch` as if there were no other command: the same words, sooner."""
    app = typer.Typer(name="gapwright", add_completion=False, pretty_exceptions_enable=False)
    app.callback()(lambda: None)  # so that the command's name is still expected
    app.command("watch")(watch)
    try:
        app()
    except (BadUsage, BusError) as refused:
        err.print(str(refused), markup=False, highlight=False, soft_wrap=True)
        raise SystemExit(BAD_INPUT) from refused


def _only_one() -> Path:
    """The only run that goes on."""
    found = running()
    if not found:
        raise BadUsage("no run is going on; name the folder of one")
    if len(found) > 1:
        listed = "\n".join(f"  {each}" for each in found)
        raise BadUsage(f"{len(found)} runs are going on; name the folder of one:\n{listed}")
    return found[0]
