"""The way out of the loop: it never waits, loses nothing that is taken, and says when nothing is taken any more."""

from __future__ import annotations

import pickle
import socket
import threading

from controller.host.outlet import WAITING_MOST, Captured, Outlet, items


def test_a_reader_that_does_not_read_never_holds_the_loop_up_and_gets_all_in_the_end() -> None:
    ours, theirs = socket.socketpair()
    outlet = Outlet(ours)
    put = [Captured(bytes([number % 256]) * 10_000) for number in range(300)]  # 3 MB: far more than a socket holds
    for item in put:
        outlet.put(item)
        outlet.flush()  # would hang here if it waited
    assert not outlet.broken
    taken: list[object] = []
    reader = threading.Thread(target=lambda: taken.extend(items(theirs)))
    reader.start()
    outlet.finish()
    reader.join(60.0)
    theirs.close()
    assert taken == put


def test_a_reader_that_has_gone_is_noticed() -> None:
    ours, theirs = socket.socketpair()
    outlet = Outlet(ours)
    theirs.close()
    for _ in range(3):
        outlet.put("anybody there?")
        outlet.flush()
    assert outlet.broken
    outlet.finish()


def test_a_reader_that_is_stuck_is_given_up() -> None:
    ours, theirs = socket.socketpair()
    outlet = Outlet(ours)
    outlet.put(Captured(bytes(WAITING_MOST + 10_000_000)))
    outlet.flush()
    outlet.flush()
    assert outlet.broken
    ours.close()
    theirs.close()


def test_what_a_dead_loop_had_sent_is_read_up_to_where_it_broke_off() -> None:
    ours, theirs = socket.socketpair()
    outlet = Outlet(ours)
    outlet.put("whole")
    outlet.flush()
    ours.send(pickle.dumps("cut off " * 100)[:300])
    ours.close()
    assert list(items(theirs)) == ["whole"]
    theirs.close()
