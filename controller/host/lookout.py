"""Between two ticks: may the gap be shorted? Then a tick is made at once, for a short held may weld.

The `biased` front end tells a contact from every other low within milliseconds: three readings of metal. With the
others a low is suspect once it is longer than a pause after a spark, and the core then gives way. The lookout decides
nothing: the tick that it asks for is a tick like all others, of the same core.
"""

from __future__ import annotations

from typing import Final

from controller.core.phases import Phase
from controller.core.window import ADC_COUNTS, BIASED_METAL_V, LOW_V, SPARK_PAUSE_MAX_MS, TOUCH_MS
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

    __slots__ = ("_channel", "_long", "_low", "_parser", "_run")

    def __init__(self, sampler: Sampler) -> None:
        biased = sampler.front_end == "biased"
        low_v = BIASED_METAL_V if biased else LOW_V[sampler.front_end]
        self._channel = sampler.pins.gap_channel
        self._low = low_v * ADC_COUNTS / sampler.full_scale_v
        self._long = TOUCH_MS if biased else SPARK_PAUSE_MAX_MS + 1.0
        self._parser = FirmataParser()
        self._run = 0

    def watches(self, session: Session) -> bool:
        """Whether anything could be seen that a tick of its own is worth."""
        return session.driving and session.core.phase in WATCHED

    def sees(self, received: bytes) -> bool:
        """True once for every contact or suspect low: when these bytes make it as long as that takes."""
        seen = False
        for message in self._parser.feed(received):
            if isinstance(message, Analog) and message.channel == self._channel:
                self._run = self._run + 1 if message.count < self._low else 0
                seen = seen or self._run == self._long
        return seen
