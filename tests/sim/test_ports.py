"""Ports of the virtual machine: opened, written to, read, hung up and opened again. No time is asserted here."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterator
from contextlib import suppress

import pytest

from sim.ports import HAS_PTY, Port, SocketPort, TerminalPort

# Looks at a port until something comes of it: the system hands bytes on when it likes.
MANY_LOOKS = 200_000


class SocketHost:
    def __init__(self, url: str) -> None:
        address, _, number = url.removeprefix("socket://").rpartition(":")
        self._socket = socket.create_connection((address, int(number)), timeout=5.0)

    def write(self, wire: bytes) -> None:
        self._socket.sendall(wire)

    def read(self) -> bytes:
        return self._socket.recv(100)

    def close(self) -> None:
        self._socket.close()


class TerminalHost:
    def __init__(self, url: str) -> None:
        self._file = os.open(url, os.O_RDWR | os.O_NOCTTY)

    def write(self, wire: bytes) -> None:
        os.write(self._file, wire)

    def read(self) -> bytes:
        return os.read(self._file, 100)

    def close(self) -> None:
        os.close(self._file)


Opens = Callable[[str], SocketHost | TerminalHost]
KINDS = [(SocketPort, SocketHost)] + ([(TerminalPort, TerminalHost)] if HAS_PTY else [])


@pytest.fixture(params=KINDS, ids=[kind.__name__ for kind, _ in KINDS])
def pair(request: pytest.FixtureRequest) -> Iterator[tuple[Port, Opens]]:
    kind, host = request.param
    port = kind()
    yield port, host
    with suppress(OSError):
        port.close()


def looks(port: Port, wanted: Callable[[bool, bytes], bool]) -> tuple[int, bytes]:
    """Look until what came is what is wanted; how often the port was opened meanwhile, and all bytes."""
    opened, heard = 0, b""
    for _ in range(MANY_LOOKS):
        just_opened, wire = port.look()
        opened, heard = opened + just_opened, heard + wire
        if wanted(bool(opened), heard):
            return opened, heard
    raise AssertionError("it never came")


def test_a_host_that_opens_a_port_is_noticed_once(pair: tuple[Port, Opens]) -> None:
    port, opens = pair
    assert port.look() == (False, b"")
    host = opens(port.url)
    assert looks(port, lambda opened, _: opened) == (1, b"")
    assert port.look() == (False, b"")
    host.close()


def test_bytes_pass_both_ways_as_they_are(pair: tuple[Port, Opens]) -> None:
    port, opens = pair
    every_byte = bytes(range(256))
    host = opens(port.url)
    looks(port, lambda opened, _: opened)
    host.write(every_byte)
    assert looks(port, lambda _, heard: len(heard) == 256) == (0, every_byte)
    port.write(every_byte)
    heard = b""
    while len(heard) < 256:
        heard += host.read()
    assert heard == every_byte
    host.close()


def test_what_is_said_while_nobody_listens_is_lost(pair: tuple[Port, Opens]) -> None:
    port, opens = pair
    port.write(b"before")
    host = opens(port.url)
    looks(port, lambda opened, _: opened)
    port.write(b"after")
    assert host.read() == b"after"
    host.close()


def test_a_port_can_be_opened_again_and_is_noticed_again(pair: tuple[Port, Opens]) -> None:
    port, opens = pair
    for _ in range(3):
        host = opens(port.url)
        assert looks(port, lambda opened, _: opened)[0] == 1
        host.write(b"x")
        looks(port, lambda _, heard: heard == b"x")
        host.close()
        for _ in range(1000):
            port.look()  # it takes a look to see that it was hung up
    port.write(b"nobody there")


def test_a_second_host_on_a_socket_is_turned_away() -> None:
    port = SocketPort()
    first = SocketHost(port.url)
    looks(port, lambda opened, _: opened)
    second = SocketHost(port.url)
    for _ in range(1000):
        assert port.look() == (False, b"")
    assert second.read() == b""
    port.write(b"still here")
    assert first.read() == b"still here"
    for host in (first, second):
        host.close()
    port.close()
