"""What the sampler's pins mean (electrics.md): the inputs as the core sees them, and whether the board can do it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from controller.link.firmata_messages import PinMode
from controller.link.notices import Problem
from controller.settings.machine import Pins

INPUTS = ("mirror_contact", "flow", "stop", "guard", "level")
OUTPUTS = ("source", "sensing", "pump", "heartbeat")
PINS_PER_PORT = 8
CORE_BITS = 10  # bits of a sample (wires.md)


class Levels:
    """The inputs. Each is pulled up and closed to ground when all is well, so low is well and a broken wire is not.

    Attributes:
        pins: The input pins.
        ports: The ports they are reported in.
    """

    __slots__ = ("_bits", "_levels", "pins", "ports")

    def __init__(self, pins: Pins) -> None:
        self.pins = tuple(getattr(pins, name) for name in INPUTS)
        self.ports = tuple(sorted({pin // PINS_PER_PORT for pin in self.pins}))
        self._bits = {name: divmod(getattr(pins, name), PINS_PER_PORT) for name in INPUTS}
        self._levels: dict[int, int] = {}

    def forget(self) -> None:
        """Nothing is known any more."""
        self._levels.clear()

    def told(self, port: int, levels: int) -> None:
        """The board reports a port."""
        self._levels[port] = levels

    @property
    def known(self) -> bool:
        """Every input was told at least once."""
        return all(port in self._levels for port in self.ports)

    @property
    def contact_open(self) -> bool:
        """The mirror contact proves the source away from the electrode."""
        return self._well("mirror_contact")

    @property
    def flow(self) -> bool:
        """Water runs."""
        return self._well("flow")

    @property
    def stop_pressed(self) -> bool:
        """The hard-wired stop is pressed."""
        return not self._well("stop")

    @property
    def guard_closed(self) -> bool:
        """The guard is shut."""
        return self._well("guard")

    @property
    def level_ok(self) -> bool:
        """There is water enough in the tank."""
        return self._well("level")

    def _well(self, name: str) -> bool:
        port, bit = self._bits[name]
        levels = self._levels.get(port)
        return levels is not None and not levels >> bit & 1


def check_pins(pins: Pins, channels: Mapping[int, int], capabilities: Sequence[Mapping[int, int]]) -> list[Problem]:
    """What the board's own lists say against the machine file."""
    problems = [
        _cannot(name, getattr(pins, name), "output") for name in OUTPUTS if not _output(name, pins, capabilities)
    ]
    problems += [_cannot(name, getattr(pins, name), "input") for name in INPUTS if not _input(name, pins, capabilities)]
    pin = channels.get(pins.gap_channel)
    if pin is None or pin >= len(capabilities) or PinMode.ANALOG not in capabilities[pin]:
        found = f"analog channel {pins.gap_channel} is not there"
        problems.append(Problem("sampler", "gap_channel", found, "name another in sampler.pins.gap_channel"))
    elif capabilities[pin][PinMode.ANALOG] != CORE_BITS:
        found = f"its readings have {capabilities[pin][PinMode.ANALOG]} bits"
        problems.append(Problem("sampler", "gap_channel", found, f"use a board that reads {CORE_BITS} bits"))
    elif pin in [getattr(pins, name) for name in (*INPUTS, *OUTPUTS)]:
        found = f"it is pin {pin}, which is in use for something else"
        problems.append(Problem("sampler", "gap_channel", found, "name another in sampler.pins"))
    return problems


def _output(name: str, pins: Pins, capabilities: Sequence[Mapping[int, int]]) -> bool:
    return PinMode.OUTPUT in _modes(name, pins, capabilities)


def _input(name: str, pins: Pins, capabilities: Sequence[Mapping[int, int]]) -> bool:
    modes = _modes(name, pins, capabilities)
    return PinMode.PULL_UP in modes or PinMode.INPUT in modes


def _modes(name: str, pins: Pins, capabilities: Sequence[Mapping[int, int]]) -> Mapping[int, int]:
    pin = getattr(pins, name)
    return capabilities[pin] if pin < len(capabilities) else {}


def _cannot(name: str, pin: int, what: str) -> Problem:
    return Problem("sampler", name, f"pin {pin} can't be an {what}", f"name another in sampler.pins.{name}")
