"""A run begins once the clerk, who keeps its record in a process of its own, is there."""

from __future__ import annotations

import multiprocessing
import socket
from threading import Timer
from time import monotonic

from controller import clerk
from controller.clerk import READY, clerk_process


def test_the_block_begins_with_a_clerk_that_is_there_and_ends_without_one() -> None:
    before = set(multiprocessing.active_children())
    herald, far = socket.socketpair()
    with far, clerk_process(herald, quiet=True, answered=False) as outlet:
        (process,) = set(multiprocessing.active_children()) - before
        assert not outlet.broken
    assert process.exitcode == 0
    assert not outlet.broken
    assert outlet.trouble == ""


def test_a_clerk_that_is_late_is_waited_for() -> None:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        Timer(0.3, theirs.sendall, (READY,)).start()
        began_s = monotonic()
        assert clerk._is_there(ours)
        assert monotonic() - began_s > 0.2


def test_a_clerk_that_died_at_its_start_or_never_comes_is_none() -> None:
    ours, theirs = socket.socketpair()
    with ours:
        theirs.close()
        assert not clerk._is_there(ours)


def test_what_the_clerk_says_first_is_no_trouble_of_the_disk() -> None:
    """It is read before the outlet listens, and would be an empty word if it were not."""
    assert READY.decode().partition("\n")[0] == ""
