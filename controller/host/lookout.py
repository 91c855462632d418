"""Between two ticks: does the gap read metal? Then a tick is made at once, for a short held may weld.

Only the `biased` front end tells a contact from every other low within milliseconds, so only there is anything to be
seen; with the others a decision takes many ticks, and half a tick sooner is nothing. The lookout decides nothing: the
tick that it asks for is a tick like all others, of the same core.
"""

from __future__ import annotations

from typing import Final

from controller.core.phases import Phase
from controller.core.window import ADC_COUNTS, BIASED_METAL_V, TOUCH_MS
from controller.host.session import Session
from controller.link.firmata_parser import Analog, FirmataParser
from controller.settings.machine import Sampler

# From one look to the next: the time from sample to sample (wires.md: 1000/s).
LOOK_S: Final = 0.001
# Where the source is on and the tip may be at the work.
WATCHED: Final = (Phase.APPROACH, Phase.ERODE)


class Lookout:
    """Watches one sampler's readings.

    Args:
        sampler: The machine file's sampler.
    """

    __slots__ = ("_channel", "_metal", "_parser", "_run", "_useful")

    def __init__(self, sampler: Sampler) -> None:
        self._useful = sampler.front_end == "biased"
        self._channel = sampler.pins.gap_channel
        self._metal = BIASED_METAL_V * ADC_COUNTS / sampler.full_scale_v
        self._parser = FirmataParser()
        self._run = 0

    def watches(self, session: Session) -> bool:
        """Whether anything could be seen that a tick of its own is worth."""
        return self._useful and session.driving and session.core.phase in WATCHED

    def sees(self, received: bytes) -> bool:
        """True once for every contact: when these bytes complete its first `TOUCH_MS`."""
        seen = False
        for message in self._parser.feed(received):
            if isinstance(message, Analog) and message.channel == self._channel:
                self._run = self._run + 1 if message.count < self._metal else 0
                seen = seen or self._run == TOUCH_MS
        return seen
