"""`gapwright watch`: the screen of a run that goes on, from another terminal."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from controller.bus.listener import look_at, running
from controller.bus.place import BusError
from controller.screen import BAD_INPUT, BadUsage, err, refuse_no_terminal
from tui.rights import OWNER, REMOTE

# Set for a screen that is served to a browser, by the library that does it.
WEB_DRIVER = "TEXTUAL_DRIVER"


def watch(
    run: Annotated[Path | None, typer.Argument(metavar="RUN", help="Folder of the run.", show_default=False)] = None,
    browser: Annotated[bool, typer.Option("--browser", help="Serve it to a browser instead.")] = False,
    host: Annotated[
        str,
        typer.Option(
            "--host", metavar="ADDRESS", help="With --browser: for another computer, which can look and hold only."
        ),
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="With --browser.")] = 8642,
    from_afar: Annotated[bool, typer.Option("--from-afar", hidden=True, help="Look and hold only.")] = False,
) -> None:
    """Show a run that goes on, and steer it; without RUN, the only one there is."""
    from controller.behind import attend  # noqa: PLC0415 (loads the screen)

    found = run or _only_one()
    if browser:
        _serve(found, host, port)
        return
    if WEB_DRIVER not in os.environ:
        refuse_no_terminal("watch")
    attend(found, REMOTE if from_afar else OWNER)


def _serve(run: Path, host: str, port: int) -> None:
    """Serve the screen to a browser until Ctrl-C."""
    from tui.browser import BrowserServer, on_loopback  # noqa: PLC0415 (loads a web server)

    look_at(run)
    try:
        server = BrowserServer(run, host, port)
        near = on_loopback(host)
    except OSError as error:
        raise BadUsage(f"--host {host}: no such address here ({error.strerror})") from error
    can = "look and steer" if near else "look and hold, nothing else; the way there is not encrypted"
    err.print(
        f"Open {server.address}\nWhoever has this address can {can}. Ctrl-C ends it.", markup=False, soft_wrap=True
    )
    try:
        server.serve()
    except OSError as error:
        raise BadUsage(f"--port {port}: can't be served on {host} ({error.strerror})") from error


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
