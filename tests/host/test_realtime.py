"""Being woken on time: what the system refuses is said in words that lead on, and is no reason not to run."""

from __future__ import annotations

import ctypes
import gc
import os
from types import SimpleNamespace
from typing import Any, NoReturn

import pytest

from controller.host.realtime import be_on_time, be_ordinary

needs_schedulers = pytest.mark.skipif(not hasattr(os, "sched_setscheduler"), reason="a system without them")


def refuse(*_: Any) -> NoReturn:
    raise PermissionError(1, "Operation not permitted")


@needs_schedulers
def test_refusals_name_what_would_allow_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_setscheduler", refuse)
    monkeypatch.setattr(ctypes, "CDLL", lambda *_, **__: SimpleNamespace(mlockall=lambda _: -1))
    monkeypatch.setattr(ctypes, "get_errno", lambda: 12)
    try:
        priority, memory = be_on_time()
        be_ordinary()  # nothing was granted, so there is nothing to give back
    finally:
        gc.unfreeze()
    assert "SCHED_FIFO" in priority
    assert "rtprio" in priority
    assert "mlockall" in memory
    assert "memlock" in memory


@needs_schedulers
def test_nothing_is_said_when_all_is_granted(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    monkeypatch.setattr(os, "sched_setscheduler", lambda _, policy, __: asked.append(policy))
    monkeypatch.setattr(ctypes, "CDLL", lambda *_, **__: SimpleNamespace(mlockall=lambda _: 0))
    try:
        assert be_on_time() == []
        be_ordinary()
    finally:
        gc.unfreeze()
    assert asked == [os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.SCHED_OTHER]


def test_a_system_that_knows_neither_is_no_reason_not_to_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "sched_setscheduler", raising=False)
    monkeypatch.setattr(ctypes, "CDLL", lambda *_, **__: SimpleNamespace())
    try:
        assert len(be_on_time()) == 2
        be_ordinary()
    finally:
        gc.unfreeze()
