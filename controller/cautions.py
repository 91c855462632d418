"""Cautions: shown before anything is switched on, and acknowledged once for each start."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Final

from controller.record.report import CAUTIONS
from controller.screen import BadUsage, err

# What stands in front of a run and not in its report. Common practice, no source.
BEFORE_A_RUN: Final = (
    "The rod is clamped, the work is clamped and bonded, and nothing stands in the way of the axes.",
    "The electrode comes out of the hole only with this program: look at the place before you leave it alone.",
)

# What stands in front of a commissioning. Common practice, no source.
BEFORE_A_CHECK: Final = (
    "The rod is clamped, the work is out or well below the tip, and nothing stands in the way of the axes.",
    "Nothing of this machine is proven yet: stay beside it, a hand on the hard-wired stop whenever something moves.",
    "Towards the end the source is on for about a minute, dry, over a clear electrode: guard shut, hands off.",
)
# What stands in front of a single command that moves the axes. Common practice, no source.
BEFORE_A_MOVE: Final = (
    "The axes are referenced first, z upward before anything goes sideways: nothing stands in their way.",
    "The guard is shut or hands are out of the machine, and a hand is on the hard-wired stop.",
)
NOT_ACKNOWLEDGED: Final = "the cautions were not acknowledged, so nothing was started"


def cautions(before: Sequence[str] = BEFORE_A_RUN) -> tuple[str, ...]:
    """What has to be so before anything is switched on, what holds for everything included."""
    return (*CAUTIONS[:-1], *before)


def acknowledge(*, yes: bool, before: Sequence[str] = BEFORE_A_RUN) -> None:
    """Show the cautions and wait until they are acknowledged; with `yes` a script has done so.

    Args:
        yes: They were read.
        before: What is to be said beside those that hold for everything.

    Raises:
        BadUsage: Nobody is there to acknowledge them, or they were not.
    """
    err.print("Cautions", style="bold red")
    for caution in cautions(before):
        err.print(f"  - {caution}", markup=False, highlight=False, soft_wrap=True)
    if yes:
        return
    if not sys.stdin.isatty():
        raise BadUsage("nobody is there to acknowledge the cautions: read them, then start again with --yes")
    err.print("Type yes when all of this is so: ", end="", markup=False, highlight=False)
    if sys.stdin.readline().strip().lower() != "yes":
        raise BadUsage(NOT_ACKNOWLEDGED)
