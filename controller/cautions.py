"""Cautions: shown before anything is switched on, and acknowledged once for each start."""

from __future__ import annotations

import sys
from typing import Final

from controller.record.report import CAUTIONS
from controller.screen import BadUsage, err

# What stands in front of a run and not in its report. Common practice, no source.
BEFORE_A_RUN: Final = (
    "The rod is clamped, the work is clamped and bonded, and nothing stands in the way of the axes.",
    "The electrode comes out of the hole only with this program: look at the place before you leave it alone.",
)

NOT_ACKNOWLEDGED: Final = "the cautions were not acknowledged, so nothing was started"


def before_a_run() -> tuple[str, ...]:
    """What has to be so before anything is switched on."""
    return (*CAUTIONS[:-1], *BEFORE_A_RUN)


def acknowledge(*, yes: bool) -> None:
    """Show the cautions and wait until they are acknowledged; with `yes` a script has done so.

    Raises:
        BadUsage: Nobody is there to acknowledge them, or they were not.
    """
    err.print("Cautions", style="bold red")
    for caution in before_a_run():
        err.print(f"  - {caution}", markup=False, highlight=False, soft_wrap=True)
    if yes:
        return
    if not sys.stdin.isatty():
        raise BadUsage("nobody is there to acknowledge the cautions: read them, then start again with --yes")
    err.print("Type yes when all of this is so: ", end="", markup=False, highlight=False)
    if sys.stdin.readline().strip().lower() != "yes":
        raise BadUsage(NOT_ACKNOWLEDGED)
