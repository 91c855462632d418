"""A real broker (Debian's mosquitto) for the tests, on a port of its own."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

# Where Debian puts servers: not on every user's path.
MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
OPENSSL = shutil.which("openssl")
needs_broker = pytest.mark.skipif(
    MOSQUITTO is None, reason="no broker here: `apt-get install mosquitto` brings the one this is tested against"
)
needs_openssl = pytest.mark.skipif(OPENSSL is None, reason="no openssl here to make a certificate with")
DEADLINE_S = 20.0
PASSWORD = "only-for-tests"  # noqa: S105


class RealBroker:
    """A mosquitto with a configuration of its own.

    Args:
        folder: For its files.
        lines: Of its configuration, besides the port.
    """

    def __init__(self, folder: Path, lines: Sequence[str] = ("allow_anonymous true",)) -> None:
        self.port = free_port()
        self._conf = folder / "mosquitto.conf"
        self._conf.write_text("\n".join([f"listener {self.port} 127.0.0.1", *lines, ""]), encoding="utf-8")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        assert MOSQUITTO is not None
        self._process = subprocess.Popen([MOSQUITTO, "-c", str(self._conf)], stderr=subprocess.DEVNULL)
        end_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < end_s:
            with socket.socket() as tried:
                if tried.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.02)
        raise AssertionError("the broker does not answer")

    def stop(self) -> None:
        """Stop it, if it runs."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        return int(bound.getsockname()[1])


def with_password(folder: Path) -> list[str]:
    """Configuration for the user `maker` with `PASSWORD`."""
    file = folder / "users"
    maker = shutil.which("mosquitto_passwd")
    assert maker is not None
    subprocess.run([maker, "-b", "-c", str(file), "maker", PASSWORD], check=True, capture_output=True)
    file.chmod(0o644)  # the broker gives its rights up before it reads this
    folder.chmod(0o755)
    return ["allow_anonymous false", f"password_file {file}", "user root"]


def with_certificate(folder: Path) -> list[str]:
    """Configuration with a certificate for localhost that nobody but itself has signed."""
    assert OPENSSL is not None
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    subprocess.run(
        [
            *(OPENSSL, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"),
            *("-addext", "subjectAltName=DNS:localhost", "-keyout", str(key), "-out", str(certificate)),
        ],
        check=True,
        capture_output=True,
    )
    key.chmod(0o644)
    return ["allow_anonymous true", f"certfile {certificate}", f"keyfile {key}", "user root"]
