"""The loop itself: what it does with a session, and how it leaves the wires, however it ends. No time is asserted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from controller.core.requests import Request
from controller.host import loop
from controller.host.loop import AWAKE_S, drive
from controller.host.session import Look, Outcome
from controller.link.machine_link import Wire

TICK_S = 0.001


class FakeSession:
    """Ends after some looks, or raises in one."""

    def __init__(self, looks: int, *, breaks: bool = False) -> None:
        self._left, self._breaks = looks, breaks
        self.driving, self.over, self.unfit = True, False, []
        self.looks: list[Look] = []

    def look(self, look: Look) -> Outcome:
        self.looks.append(look)
        self._left -= 1
        if self._breaks and not self._left:
            raise RuntimeError("a fault of the program")
        self.over = not self._left
        return Outcome(b"G1\n", b"\xf5\x06\x01", [])

    def close(self, _: float) -> Outcome:
        return Outcome(b"", b"\xff", [])

    def emergency_stop(self, _: float) -> Outcome:
        return Outcome(b"\x18", b"\xf5\x04\x00", [])


class FakeWires:
    def __init__(self) -> None:
        self.written: list[tuple[Wire, bytes]] = []
        self.closed = False

    def read(self, wire: Wire) -> bytes:
        return b"ok\n" if wire is Wire.BOARD else b"\xe0\x00\x01"

    def write(self, wire: Wire, written: bytes) -> None:
        assert not self.closed
        self.written.append((wire, written))

    def newly_gone(self) -> list[tuple[Wire, str]]:
        return []

    def close(self) -> None:
        self.closed = True


class FakeDesk:
    def __init__(self, cut: Callable[[], bool] = lambda: False) -> None:
        self._cut = cut

    def requests(self, _session: Any, _now_s: float) -> Sequence[Request]:
        return ()

    def take(self, _session: Any, _look: Look, _outcome: Outcome) -> None:
        pass

    def cut(self, _session: Any, _now_s: float) -> bool:
        return self._cut()


def driven(session: Any, desk: Any) -> FakeWires:
    wires: Any = FakeWires()
    drive(session, wires, TICK_S, desk)
    assert wires.closed
    return wires  # type: ignore[no-any-return]


def test_every_look_holds_what_came_and_what_comes_of_it_is_written_the_boards_first() -> None:
    session = FakeSession(5)
    wires = driven(session, FakeDesk())
    assert [(look.board, look.sampler) for look in session.looks] == [(b"ok\n", b"\xe0\x00\x01")] * 5
    times_s = [look.time_s for look in session.looks]
    assert times_s == sorted(times_s)
    assert wires.written[:2] == [(Wire.BOARD, b"G1\n"), (Wire.SAMPLER, b"\xf5\x06\x01")]
    assert wires.written[-1] == (Wire.SAMPLER, b"\xff")  # the end in order: every output low


def test_cut_while_driving_stops_at_once() -> None:
    wires = driven(FakeSession(1000), FakeDesk(lambda: True))
    assert wires.written[-2:] == [(Wire.BOARD, b"\x18"), (Wire.SAMPLER, b"\xf5\x04\x00")]


def test_cut_before_anything_moved_only_closes() -> None:
    session = FakeSession(1000)
    session.driving = False
    assert driven(session, FakeDesk(lambda: True)).written[-1] == (Wire.SAMPLER, b"\xff")


def test_a_fault_of_the_program_leaves_source_off_and_motion_stopped() -> None:
    wires: Any = FakeWires()
    with pytest.raises(RuntimeError, match="a fault of the program"):
        drive(FakeSession(3, breaks=True), wires, TICK_S, FakeDesk())  # type: ignore[arg-type]
    assert wires.written[-2:] == [(Wire.BOARD, b"\x18"), (Wire.SAMPLER, b"\xf5\x04\x00")]
    assert wires.closed


class FakeLookout:
    """Sees metal in the first bytes that come between two ticks."""

    def __init__(self) -> None:
        self.heard: list[bytes] = []

    def watches(self, _session: Any) -> bool:
        return True

    def sees(self, received: bytes) -> bool:
        self.heard.append(received)
        return True


def test_a_tick_asked_for_between_two_loses_no_byte_and_puts_none_off() -> None:
    """With ticks an hour apart, only ticks asked for in between can end this."""
    session, wires, lookout = FakeSession(4), FakeWires(), FakeLookout()
    pacer = drive(session, wires, 3600.0, FakeDesk(), lookout)  # type: ignore[arg-type]
    assert (pacer.ticks, pacer.missed, pacer.due_s) == (1, 0, 3600.0)
    assert [look.sampler for look in session.looks] == [b"\xe0\x00\x01"] + [b"\xe0\x00\x01" * 2] * 3
    assert len(lookout.heard) == 7


class LateSleeper:
    """A clock, and a sleep that comes back late by less than the loop waits awake."""

    def __init__(self, late_s: float) -> None:
        self._now_s = 100.0
        self._late_s = late_s

    def monotonic(self) -> float:
        """A microsecond goes by with every look."""
        self._now_s += 1e-6
        return self._now_s

    def sleep(self, seconds: float) -> None:
        """Longer than asked for."""
        assert seconds > 0.0
        self._now_s += seconds + self._late_s


class PatientLookout(FakeLookout):
    """Sees nothing."""

    def sees(self, received: bytes) -> bool:
        super().sees(received)
        return False


@pytest.mark.parametrize("lookout", [None, PatientLookout()])
def test_a_core_that_wakes_late_does_not_make_the_tick_late(
    monkeypatch: pytest.MonkeyPatch, lookout: FakeLookout | None
) -> None:
    clock = LateSleeper(0.9 * AWAKE_S)
    monkeypatch.setattr(loop, "monotonic", clock.monotonic)
    monkeypatch.setattr(loop, "sleep", clock.sleep)
    pacer = drive(FakeSession(50), FakeWires(), 0.01, FakeDesk(), lookout)  # type: ignore[arg-type]
    assert pacer.ticks == 50
    assert pacer.worst_s < 1e-5
