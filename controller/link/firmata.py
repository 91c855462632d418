"""The sampler: a stock microcontroller board that speaks open Firmata 2.x (wires.md, "Sampler"; electrics.md).

It brings the gap's samples and the switches, and drives source contact, sensing feed, pump and heartbeat. It has no
watchdog: outputs stay as they are when the host dies. That is what the heartbeat is for: one edge for every completed
tick, and the fail-safe gate drops the source when they stop. A stream that stops is a fault, not "no sparks".
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from controller.core.commands import Output, Switch
from controller.link import firmata_messages as say
from controller.link.firmata_messages import PinMode
from controller.link.firmata_parser import Analog, Digital, FirmataParser, Message, Sysex, Version
from controller.link.notices import Notebook
from controller.link.procedure import Clock, Procedure
from controller.link.sampler_pins import Levels, check_pins
from controller.settings.machine import Machine

# Opening the port resets the board: its banner comes after 2.1 s plus the bootloader; nothing may be written before
# (at least 5 s, wires.md). A board that has said nothing by then was not reset, and is asked.
BOOT_S = 6.0
ANSWER_S = 2.0  # to a question; a capability list of some 300 bytes takes 50 ms at 57600 baud. Chosen.
ANSWER_TRIES = 3  # a reply may be spoilt on the wire; chosen
STREAM_S = 1.0  # a thousand samples should have come in that time (wires.md); chosen
INTERVAL_MS = 1  # one channel at 1 ms gives 1000 samples a second (wires.md)
FULL_COUNT, RESOLUTION_BITS = 1023, 10  # the core's samples are of 10 bits (wires.md)
PIN_LEVEL_SINCE = (2, 5)  # the protocol version that brought single-pin writes and pull-ups (from memory)
# A stream this old is dead: ten times the worst age of a healthy one (11 ms, wires.md), as in core/guards.py.
STALE_S = 0.1
# Samples kept when nobody looks: a second of them. Chosen.
SAMPLES_MOST = 1000


class Sampler:
    """The sampler board.

    Attributes:
        connected: Set up, streaming, all inputs told.
        notebook: Notices and problems.
        inputs: The switches, as the core sees them; until told, each as if there were trouble.
        firmware: What the board calls itself, for the record.
        spoilt: Readings thrown away because they were out of range.
    """

    __slots__ = (
        "_beat",
        "_capabilities",
        "_channels",
        "_clock",
        "_failed",
        "_last_s",
        "_outbox",
        "_parser",
        "_pins",
        "_procedure",
        "_samples",
        "_sink_levels",
        "_version",
        "connected",
        "firmware",
        "inputs",
        "notebook",
        "spoilt",
    )

    def __init__(self, machine: Machine) -> None:
        self._pins = machine.sampler.pins
        self._parser = FirmataParser()
        self._clock = Clock()
        self._outbox = bytearray()
        self._procedure: Procedure[None] | None = None
        self.notebook = Notebook("sampler")
        self.inputs = Levels(self._pins)
        self.connected = False
        self.firmware = ""
        self.spoilt = 0
        self._forget()

    def _forget(self) -> None:
        self._samples: list[int] = []
        self._last_s = -inf
        self._version: tuple[int, int] | None = None
        self._channels: dict[int, int] | None = None
        self._capabilities: list[dict[int, int]] | None = None
        self._sink_levels: dict[int, int] = {}
        self._beat = False
        self._failed = False
        self.connected = False
        self.inputs.forget()

    # -- the seam -----------------------------------------------------------------------------------------------------

    def start(self, time_s: float) -> None:
        """The port was just opened, which resets the board: begin to connect. Forgets whatever was before."""
        self._clock.now_s = time_s
        self._forget()
        self._parser.restart()
        self._outbox.clear()
        self.notebook.problems.clear()
        self._procedure = self._connect()

    @property
    def connecting(self) -> bool:
        """The connect procedure is still under way."""
        return self._procedure is not None

    def receive(self, received: bytes, time_s: float) -> None:
        """Take bytes from the board. Never raises, whatever they are."""
        self._clock.now_s = time_s
        for message in self._parser.feed(received):
            if isinstance(message, Analog):
                self._sampled(message)
            else:
                self._told(message)

    def pending(self, time_s: float) -> bytes:
        """Everything that is to be written now; call it after every `receive` and tick."""
        self._clock.now_s = time_s
        if self._procedure is not None:
            try:
                next(self._procedure)
            except StopIteration:
                self._procedure = None
        written = bytes(self._outbox)
        self._outbox.clear()
        return written

    def switch(self, switch: Switch) -> None:
        """Put an output high or low; nothing before the board is connected."""
        if self.connected:
            pin = {Output.SOURCE: self._pins.source, Output.SENSING: self._pins.sensing, Output.WATER: self._pins.pump}
            self._put(pin[switch.output], high=switch.on)

    def heartbeat(self) -> None:
        """One edge, for a tick that the core has completed: once for each, never to make up for a late one."""
        if self.connected:
            self._beat = not self._beat
            self._put(self._pins.heartbeat, high=self._beat)

    def isolate(self) -> None:
        """Source contact and sensing feed off now; the pump is left to the switching order (electrics.md)."""
        if self._version is not None:
            self._put(self._pins.source, high=False)
            self._put(self._pins.sensing, high=False)

    def lose(self, time_s: float, why: str) -> None:
        """The port has gone: nothing more will be heard, and no sample is young any more."""
        self._failed = True
        self.connected = False
        self.notebook.note(time_s, why)
        self.inputs.forget()

    def close(self) -> None:
        """The last thing before the port is closed: every output low, the source contact first; reporting ends."""
        self.isolate()
        if self._version is not None:
            self._outbox += say.RESET
        self.connected = False
        self._procedure = None

    def take_samples(self) -> list[int]:
        """The gap's samples since the last time, oldest first."""
        samples = self._samples
        self._samples = []
        return samples

    def age_s(self, time_s: float) -> float:
        """Time since the last sample; infinite before the first, and for good once the board has reset by itself."""
        return inf if self._failed else time_s - self._last_s

    # -- messages from the board --------------------------------------------------------------------------------------

    def _sampled(self, reading: Analog) -> None:
        if reading.channel != self._pins.gap_channel or reading.count > FULL_COUNT:
            self.spoilt += 1
            return
        self._last_s = self._clock.now_s
        self._samples.append(reading.count)
        if len(self._samples) > SAMPLES_MOST:
            del self._samples[0]

    def _told(self, message: Message) -> None:
        match message:
            case Digital():
                self.inputs.told(message.port, message.levels)
            case Version():
                self._version_told(message)
            case Sysex(say.FIRMWARE):
                self._firmware_told(message.payload)
            case Sysex(say.ANALOG_MAP):
                self._channels = say.read_analog_map(message.payload)
            case Sysex(say.CAPABILITIES):
                self._capabilities = say.read_capabilities(message.payload)

    def _version_told(self, version: Version) -> None:
        told = version.major, version.minor
        if self._version is None:
            self._version = told
        elif self.connected and told == self._version:
            self._failed = True
            self.connected = False
            self.notebook.note(
                self._clock.now_s, "the sampler has reset by itself: its outputs are off, inputs unknown"
            )
            self.inputs.forget()

    def _firmware_told(self, payload: bytes) -> None:
        """Version, then the name in pairs of 7-bit bytes."""
        name = bytes(low | high << 7 & 0x80 for low, high in zip(payload[2::2], payload[3::2], strict=False))
        self.firmware = "".join(letter for letter in name.decode("ascii", "ignore") if letter.isprintable())

    # -- connecting ---------------------------------------------------------------------------------------------------

    def _connect(self) -> Procedure[None]:
        if not (yield from self._clock.until(lambda: self._version is not None, BOOT_S)):
            yield from self._asked(say.ASK_VERSION, lambda: self._version is not None)
        if self._version is None:
            self._object("sampler silent", "no version banner", "look at sampler.port, sampler.baud, cable and supply")
            return
        if self._version[0] != 2:
            found = f"protocol {self._version[0]}.{self._version[1]}"
            self._object("protocol", found, "load the stock sketch of protocol 2.x")
            return
        # A board that was not reset by opening its port may still hold what an earlier host left switched on.
        self._outbox += say.RESET
        yield from self._asked(say.ask(say.FIRMWARE), lambda: bool(self.firmware))
        yield from self._asked(say.ask(say.ASK_ANALOG_MAP), lambda: self._channels is not None)
        yield from self._asked(say.ask(say.ASK_CAPABILITIES), lambda: self._capabilities is not None)
        if self._fit():
            yield from self._set_up()

    def _asked(self, question: bytes, answered: Callable[[], bool]) -> Procedure[bool]:
        for _ in range(ANSWER_TRIES):
            self._outbox += question
            if (yield from self._clock.until(answered, ANSWER_S)):
                return True
        return False

    def _fit(self) -> bool:
        if self._channels is None or self._capabilities is None:
            self._object("discovery", "no list of pins and their capabilities", "load the stock sketch of protocol 2.x")
            return False
        self.notebook.problems.extend(check_pins(self._pins, self._channels, self._capabilities))
        return not self.notebook.problems

    def _set_up(self) -> Procedure[None]:
        for pin in self._outputs():
            self._outbox += say.pin_mode(pin, PinMode.OUTPUT)
            self._put(pin, high=False)
        for pin in self.inputs.pins:
            self._pull_up(pin)
        channel = self._pins.gap_channel
        self._outbox += say.pin_mode((self._channels or {})[channel], PinMode.ANALOG)
        self._outbox += say.sampling_interval(INTERVAL_MS) + say.report_analog(channel)
        for port in self.inputs.ports:
            self._outbox += say.report_port(port)
        if not (yield from self._clock.until(lambda: bool(self._samples), STREAM_S)):
            self._object(
                "no samples", "the gap's analog channel is not reported", "reset the sampler; look at its cable"
            )
        elif not (yield from self._clock.until(lambda: self.inputs.known, STREAM_S)):
            self._object("no inputs", "a port of the inputs is not reported", "reset the sampler; look at its cable")
        else:
            self._samples = []
            self.connected = True

    def _pull_up(self, pin: int) -> None:
        """Boards before 2.5 have no such mode: an input that is written high there pulls up."""
        if PinMode.PULL_UP in (self._capabilities or [])[pin]:
            self._outbox += say.pin_mode(pin, PinMode.PULL_UP)
        else:
            self._outbox += say.pin_mode(pin, PinMode.INPUT)
            self._put_port(pin, high=True)

    def _object(self, name: str, found: str, remedy: str) -> None:
        self.notebook.object(name, found, remedy)

    # -- outputs ------------------------------------------------------------------------------------------------------

    def _outputs(self) -> tuple[int, ...]:
        return self._pins.source, self._pins.sensing, self._pins.pump, self._pins.heartbeat

    def _put(self, pin: int, *, high: bool) -> None:
        if (self._version or (0, 0)) >= PIN_LEVEL_SINCE:
            self._outbox += say.pin_level(pin, high=high)
        else:
            self._put_port(pin, high=high)

    def _put_port(self, pin: int, *, high: bool) -> None:
        port, bit = pin // 8, 1 << pin % 8
        levels = self._sink_levels.get(port, 0)
        self._sink_levels[port] = levels | bit if high else levels & ~bit
        self._outbox += say.port_levels(port, self._sink_levels[port])
