"""Serial ports: the only place that touches pyserial. Any URL it opens works: a device, `socket://`, `rfc2217://`.

Nothing here blocks for long: a read returns what has arrived, a write hands over what is small.
"""

from __future__ import annotations

import os
import socket
from contextlib import suppress

import serial

# Bytes taken at a time: more than both wires bring between two looks. Chosen.
READ_BYTES = 4096
# A write that the system doesn't take within this time means a dead port: the longest single write, three lines of a
# retract, takes 8 ms at 115200 baud. Chosen.
WRITE_TIMEOUT_S = 0.25
NET_SCHEMES = ("socket://", "rfc2217://")


class PortError(Exception):
    """A port can't be opened, or has gone: which key of the machine file, which URL, why, and what to do."""

    def __init__(self, key: str, url: str, why: str, remedy: str) -> None:
        super().__init__(f"{key}: {url or 'no port named'}: {why}; {remedy}")
        self.key, self.url, self.why, self.remedy = key, url, why, remedy


class Port:
    """One open port.

    Args:
        url: What pyserial opens: `/dev/ttyUSB0`, `COM3`, `socket://host:port`, `rfc2217://host:port`, `loop://`.
        baud: Speed; a plain socket ignores it.
        key: The machine file's key that named it, for messages.

    Raises:
        PortError: It can't be opened.
    """

    def __init__(self, url: str, baud: int, key: str) -> None:
        self._key, self._url = key, url
        if not url:
            raise PortError(key, url, "the machine file names none", f'set {key} = "/dev/…" or a socket:// URL')
        try:
            # Exclusive where it is a device: two hosts on one board would both be wrong about it.
            exclusive = {} if "://" in url else {"exclusive": True}
            self._serial = serial.serial_for_url(
                url, baudrate=baud, timeout=0, write_timeout=WRITE_TIMEOUT_S, **exclusive
            )
        except (OSError, ValueError) as error:  # pyserial's own errors are OSErrors
            raise PortError(
                key, url, _plainly(error), "is it plugged in, is the name right, may you use it?"
            ) from error
        if url.startswith(NET_SCHEMES[0]):
            _send_at_once(self._serial.fileno())

    def read(self) -> bytes:
        """What has arrived; empty when nothing has. Raises PortError when the port has gone."""
        try:
            arrived = bytearray(self._serial.read(READ_BYTES))
            # An rfc2217 port hands out single bytes whatever is asked for.
            while self._url.startswith(NET_SCHEMES[1]) and len(arrived) < READ_BYTES:
                more = self._serial.read(READ_BYTES)
                if not more:
                    break
                arrived += more
            return bytes(arrived)
        except OSError as error:
            raise self._gone(error) from error

    def write(self, written: bytes) -> None:
        """Hand bytes over; nothing to do for none. Raises PortError when the port has gone or takes nothing."""
        if not written:
            return
        try:
            self._serial.write(written)
        except OSError as error:
            raise self._gone(error) from error

    def fileno(self) -> int | None:
        """A file descriptor to wait on, where there is one."""
        try:
            return int(self._serial.fileno())
        except (OSError, AttributeError):
            return None

    def close(self) -> None:
        """Close it; a port that has gone is closed as well."""
        with suppress(OSError):
            self._serial.close()

    def _gone(self, error: OSError) -> PortError:
        return PortError(
            self._key, self._url, _plainly(error), "the port has gone: look at cable, supply and USB isolator"
        )


def _send_at_once(file_descriptor: int) -> None:
    """Small writes must not wait for each other: a retract or a heartbeat edge would come 40 ms late."""
    duplicate = socket.socket(fileno=os.dup(file_descriptor))
    try:
        duplicate.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    finally:
        duplicate.close()


def _plainly(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
