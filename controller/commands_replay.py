"""`gapwright replay`: a captured run once more through link and core, to see that the same comes out."""

from __future__ import annotations

import json
from pathlib import Path
from time import monotonic
from typing import Annotated

import typer

from controller.host.capture import Capture
from controller.host.replay import Repeated, replay
from controller.record.summary import spoken_time
from controller.screen import AsJson, err, out
from controller.workshop import versions

# A capture that goes another way now is a fault (interfaces.md, "Commands").
DIFFERS = 4


def repeat(
    capture: Annotated[Path, typer.Argument(metavar="CAPTURE", help="A capture, or the folder of a run that has one.")],
    as_json: AsJson = False,
) -> None:
    """Feed a capture through link and core again: the same bytes and events must come out, to the last one."""
    read = Capture(capture)
    changed = {name: then for name, then in read.start.versions.items() if versions().get(name) != then}
    if changed and not as_json:
        words = ", ".join(f"{name} {then}" for name, then in changed.items())
        err.print(f"Captured by other versions: {words}", markup=False, highlight=False, soft_wrap=True)
    began_s = monotonic()
    done = Repeated()
    for step in replay(read):
        done = step
    _show(done, monotonic() - began_s, as_json=as_json)
    raise typer.Exit(0 if done.difference is None else DIFFERS)


def _show(done: Repeated, took_s: float, *, as_json: bool) -> None:
    speed = done.time_s / took_s if took_s else 0.0
    difference = done.difference
    if as_json:
        held = {
            "same": difference is None,
            "ticks": done.ticks,
            "events": done.events,
            "machine_seconds": round(done.time_s, 3),
            "times_real_time": round(speed, 1),
            "differs_at_s": None if difference is None else round(difference.time_s, 3),
            "differs_in": None if difference is None else difference.what,
        }
        out.print(json.dumps(held), markup=False, highlight=False, soft_wrap=True)
        return
    lines = [
        f"{done.ticks} ticks, {done.events} events, {spoken_time(done.time_s)} of machine time, {speed:.0f} × real",
        "The same bytes and events to the last one."
        if difference is None
        else f"Differs at {difference.time_s:.3f} s in {difference.what}:\n"
        f"  captured: {difference.captured}\n  repeated: {difference.repeated}",
    ]
    for line in lines:
        out.print(line, markup=False, highlight=False, soft_wrap=True)
