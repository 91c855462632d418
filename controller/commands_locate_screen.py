"""`gapwright locate screen`: the same by keyboard and mouse, one thing after the other."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from controller.cautions import BEFORE_A_MOVE
from controller.locating import MachineFile, PlantFile, Rehearse, Seed, Yes, machine_for
from controller.screen import JobName
from controller.settings.load import load_job, resolve


def screen(
    job: JobName,
    machine: MachineFile = None,
    rehearse: Rehearse = False,
    seed: Seed = 1,
    plant: PlantFile = None,
    yes: Yes = False,
) -> None:
    """Open a screen: say what to find and roughly where, see it touched, read what was found."""
    from controller.behind import acknowledge_on_screen, find_on_screen  # noqa: PLC0415 (loads the screen)

    given = machine_for(machine, rehearse=rehearse)
    wanted = load_job(resolve(job, kind="jobs"))
    if not rehearse:
        acknowledge_on_screen(f"touching for {wanted.job.name}", yes=yes, before=BEFORE_A_MOVE)
    where = "rehearsed on the virtual machine" if rehearse else f"on {given.name}"

    def command(words: Sequence[str]) -> list[str]:
        named = ["--rehearse", "--seed", str(seed)] if rehearse else ["--yes"]
        named += ["--machine", machine] if machine is not None else []
        named += ["--plant", plant] if plant is not None and words[0] != "reference" else []
        return [sys.executable, "-m", "controller.start", "locate", words[0], job, *words[1:], *named]

    find_on_screen(f"{wanted.job.name} · {where}", command)
