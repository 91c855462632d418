"""`gapwright watch`: the screen of a run that goes on, from another terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from controller.bus.listener import running
from controller.screen import BadUsage, refuse_no_terminal


def watch(
    run: Annotated[Path | None, typer.Argument(metavar="RUN", help="Folder of the run.", show_default=False)] = None,
) -> None:
    """Show a run that goes on, and steer it; without RUN, the only one there is."""
    from controller.behind import attend  # noqa: PLC0415 (loads the screen)

    refuse_no_terminal("watch")
    attend(run or _only_one())


def _only_one() -> Path:
    """The only run that goes on."""
    found = running()
    if not found:
        raise BadUsage("no run is going on; name the folder of one")
    if len(found) > 1:
        listed = "\n".join(f"  {each}" for each in found)
        raise BadUsage(f"{len(found)} runs are going on; name the folder of one:\n{listed}")
    return found[0]
