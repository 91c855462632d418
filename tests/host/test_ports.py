"""Ports of every kind that needs no hardware: a loop, a socket, a pseudo-terminal; and the errors of all others."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator

import pytest

from controller.host.ports import Port, PortError


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server


def arrived(port: Port, count: int) -> bytes:
    """Bytes are on their way through the system: look again until they are there."""
    found = b""
    for _ in range(100_000):
        found += port.read()
        if len(found) >= count:
            break
    return found


def test_a_loop_gives_back_what_is_written() -> None:
    port = Port("loop://", 115200, "motion.port")
    port.write(b"G21\n")
    assert arrived(port, 4) == b"G21\n"
    assert port.read() == b""
    port.close()


def test_a_socket_carries_bytes_both_ways_and_says_when_it_has_gone(listener: socket.socket) -> None:
    port = Port(f"socket://127.0.0.1:{listener.getsockname()[1]}", 57600, "sampler.port")
    far, _ = listener.accept()
    far.sendall(b"\xf9\x02\x05")
    assert arrived(port, 3) == b"\xf9\x02\x05"
    assert port.read() == b""
    port.write(b"\xff")
    assert far.recv(10) == b"\xff"
    far.close()
    with pytest.raises(PortError, match=r"sampler\.port: socket://.*has gone"):
        arrived(port, 1)
    port.close()


def test_a_sockets_small_writes_do_not_wait_for_each_other(listener: socket.socket) -> None:
    port = Port(f"socket://127.0.0.1:{listener.getsockname()[1]}", 57600, "motion.port")
    number = port.fileno()
    assert number is not None
    with socket.socket(fileno=os.dup(number)) as same:
        assert same.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    port.close()


def test_a_device_carries_bytes_both_ways() -> None:
    ours, theirs = os.openpty()
    try:
        port = Port(os.ttyname(theirs), 115200, "motion.port")
        os.write(ours, b"ok\r\n")
        assert arrived(port, 4) == b"ok\r\n"
        port.write(b"?")
        assert os.read(ours, 10) == b"?"
        with pytest.raises(PortError, match=r"motion\.port"):
            Port(os.ttyname(theirs), 115200, "motion.port")
        port.close()
    finally:
        os.close(ours)
        os.close(theirs)


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("", r"motion\.port: no port named: the machine file names none; set motion\.port"),
        ("/dev/there-is-no-such-device", r"motion\.port: /dev/there-is-no-such-device: .*plugged in"),
        ("socket://127.0.0.1:1", r"motion\.port: socket://127\.0\.0\.1:1: .*plugged in"),
        ("nonsense://x", r"motion\.port: nonsense://x: .*"),
    ],
)
def test_a_port_that_cannot_be_opened_says_which_key_and_why(url: str, words: str) -> None:
    with pytest.raises(PortError, match=words):
        Port(url, 115200, "motion.port")
