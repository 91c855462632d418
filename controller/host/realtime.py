"""Asking the system for a process that is woken on time; what it refuses is said, and the loop runs all the same.

Three things keep a loop of plain Python within a tenth of a millisecond beside busy neighbours (design.md §9): a fixed
priority, memory that is never swapped out, and a heap that the collector need not look through again.
"""

from __future__ import annotations

import ctypes
import gc
import os
from typing import Final

# Among processes of fixed priority. Chosen in the middle: above everything ordinary, below what the system itself
# needs on time.
PRIORITY: Final = 50
MCL_CURRENT, MCL_FUTURE = 1, 2  # <sys/mman.h> of Linux (from memory)


def be_on_time() -> list[str]:
    """Make this process one that is woken on time; returns what the system refused, in words."""
    gc.collect()
    gc.freeze()
    return [refused for refused in (_fixed_priority(), _locked_memory()) if refused]


def be_ordinary() -> None:
    """Give the fixed priority back; what follows the loop is in no hurry."""
    try:
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
    except (AttributeError, OSError):
        return  # it was never granted


def _fixed_priority() -> str:
    try:
        # Processes started later do not inherit it.
        os.sched_setscheduler(0, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(PRIORITY))
    except AttributeError:
        return "this system has no fixed priorities (SCHED_FIFO)"
    except OSError as error:
        return f"a fixed priority (SCHED_FIFO) is not allowed ({error.strerror}); `ulimit -r` or rtprio would allow it"
    return ""


def _locked_memory() -> str:
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        if libc.mlockall(MCL_CURRENT | MCL_FUTURE) == 0:
            return ""
    except (AttributeError, OSError, TypeError):
        return "this system has no way to lock memory (mlockall)"
    reason = os.strerror(ctypes.get_errno())
    return f"locking memory (mlockall) is not allowed ({reason}); `ulimit -l` or memlock would allow it"
