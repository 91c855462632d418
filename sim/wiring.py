"""Which pin of the sampler is wired to what, and what a level on it means.

All outputs are high = on, with a pull-down each, so that a floating pin is off (electrics.md). All inputs are switches
to ground, closed when all is well, read against a pull-up: a broken wire reads as trouble. A floating input, without
its pull-up, reads low: the worst it could say.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.commands import Output


@dataclass(slots=True, frozen=True)
class Wiring:
    """Pins by number; none of them is the board's light or its serial line (electrics.md). The numbers are chosen."""

    gap_channel: int = 0
    source: int = 4
    sensing: int = 5
    heartbeat: int = 6
    water: int = 7
    contact_open: int = 8
    flow: int = 9
    stop: int = 10
    guard: int = 11
    level: int = 12

    def output(self, pin: int) -> Output | None:
        """The switched output behind a pin, if there is one."""
        return {self.source: Output.SOURCE, self.sensing: Output.SENSING, self.water: Output.WATER}.get(pin)
