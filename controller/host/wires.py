"""Both ports of a machine: opened together, read and written without waiting; one that goes is told once."""

from __future__ import annotations

from controller.host.ports import Port, PortError
from controller.link.machine_link import Wire
from controller.settings.machine import Machine


class Wires:
    """The two ports of a machine.

    Args:
        machine: The machine file, which names them.

    Raises:
        PortError: One of them can't be opened; the other one is closed again.
    """

    def __init__(self, machine: Machine) -> None:
        board = Port(machine.motion.port, machine.motion.baud, "motion.port")
        try:
            sampler = Port(machine.sampler.port, machine.sampler.baud, "sampler.port")
        except PortError:
            board.close()
            raise
        self._ports = {Wire.BOARD: board, Wire.SAMPLER: sampler}
        self._gone: list[tuple[Wire, str]] = []

    def read(self, wire: Wire) -> bytes:
        """What has arrived; nothing for ever from a port that has gone."""
        port = self._ports.get(wire)
        if port is None:
            return b""
        try:
            return port.read()
        except PortError as error:
            self._lose(wire, error)
            return b""

    def write(self, wire: Wire, written: bytes) -> None:
        """Hand bytes over; those for a port that has gone are dropped."""
        port = self._ports.get(wire)
        if port is not None and written:
            try:
                port.write(written)
            except PortError as error:
                self._lose(wire, error)

    def newly_gone(self) -> list[tuple[Wire, str]]:
        """Ports that have gone since the last time, each with the reason."""
        gone, self._gone = self._gone, []
        return gone

    def close(self) -> None:
        """Close what is open."""
        for port in self._ports.values():
            port.close()
        self._ports.clear()

    def _lose(self, wire: Wire, error: PortError) -> None:
        self._ports.pop(wire).close()
        self._gone.append((wire, str(error)))
