"""`gapwright locate reference`: where the reference plate is and how high it lies, as figures for the machine file."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Annotated

import typer

from controller.core.cycles.locate_reference import About, FoundPlate, locate_reference
from controller.core.cycles.travel import reference, rise_to_top
from controller.core.events import RunEnded
from controller.core.rig import Bench, Cycle
from controller.locating import MachineFile, Rehearse, Seed, Yes, carried_out, machine_for
from controller.screen import AsJson, JobName, out
from controller.settings.load import load_job, resolve

CALIPER_U_MM = 0.2
"""A rod measured with a caliper from the holder's face to its tip (standard uncertainty). Chosen."""


def reference_plate(
    job: JobName,
    tip: Annotated[float, typer.Option("--tip", metavar="MM", min=1.0, help="How far the rod stands out, measured.")],
    tip_u: Annotated[
        float, typer.Option("--tip-u", metavar="MM", min=0.001, help="And how well (k = 1).")
    ] = CALIPER_U_MM,
    machine: MachineFile = None,
    near: Annotated[
        tuple[float, float] | None,
        typer.Option(
            "--near", metavar="X Y", help="Somewhere on it, machine mm.", show_default="the machine file's place"
        ),
    ] = None,
    rehearse: Rehearse = False,
    seed: Seed = 1,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Touch the reference plate all over: its middle, height and level, as lines for the machine file."""
    given = machine_for(machine, rehearse=rehearse)
    wanted = load_job(resolve(job, kind="jobs"))
    plate = given.reference_plate
    about = About(near or (plate.x_mm, plate.y_mm), tip, tip_u)
    found: list[FoundPlate] = []

    def work(bench: Bench) -> Cycle[RunEnded]:
        yield from reference(bench)
        found.append((yield from locate_reference(bench, about)))
        yield from rise_to_top(bench)
        return RunEnded(bench.now_s, "complete", "the reference plate was located")

    ended, _ = carried_out(given, wanted, work, rehearse=rehearse, seed=seed, yes=yes, quiet=as_json)
    if as_json:
        out.print(json.dumps({"seconds": ended.time_s, "found": asdict(found[0])}, indent=2), markup=False)
        return
    for line in lines(found[0], about, ended.time_s):
        out.print(line, markup=False, highlight=False, soft_wrap=True)


def lines(found: FoundPlate, about: About, seconds: float) -> list[str]:
    """What was found, in words, and what the machine file is to say."""
    wet = "; it was wet" if found.wet else ""
    return [
        (
            f"Middle at x {found.x_mm:.2f}, y {found.y_mm:.2f} mm, each ± {2.0 * found.u_mm:.2f} mm; met "
            f"over {found.wide_mm[0]:.1f} by {found.wide_mm[1]:.1f} mm, the rod's own end included."
        ),
        (
            f"Its face at z {found.height_mm:.3f} ± {2.0 * found.u_height_mm:.3f} mm, for a rod that stands out "
            f"{about.tip_mm:g} ± {2.0 * about.tip_u_mm:g} mm; three touches within {1e3 * found.level_mm:.0f} µm{wet}."
        ),
        f"It took {seconds / 60.0:.1f} min of machine time; all ± are expanded, k = 2.",
        "For the machine file:",
        "",
        "[reference_plate]",
        f"x_mm = {found.x_mm:.2f}",
        f"y_mm = {found.y_mm:.2f}",
        f"height_mm = {found.height_mm:.3f}",
        "",
        "What the rod's length is off, the height is off by the same; it cancels in every hole, so measure it once.",
    ]
