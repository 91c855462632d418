"""One tick's samples as a window: what was low, what was burning, what was a spark, and the low that still goes on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from controller.settings.machine import Sampler

ADC_COUNTS: Final = 1023  # full scale of a 10-bit converter (open Firmata analog message, wires.md)

# Longest pause after a spark in both current-limit laws: 10 ms off + 1 ms recovery (electrics.md), + 1 sample each
# side.
SPARK_PAUSE_MAX_MS: Final = 13.0

# Within this time of a discharge the gap counts as sparking: a state is a regime, not the instant, and one that
# does not outlast the servo's answer (about 0.1 s) is none. Chosen so.
SPARKING_MS: Final = 100.0
NEVER_MS: Final = 1e9

# Pin volts below which a reading counts as low, and as metal, by front end (electrics.md):
# clamp: half of the 3 V plateau. divider: 11 V at the gap, half of the 22.5 V burning voltage (references §1).
# biased: anything clearly off the 3 V plateau is "source absent"; only metal reads below 0.1 V.
LOW_V = {"clamp": 1.5, "divider": 11.0 * 4.5 / 64.0, "biased": 2.75}
METAL_V: Final = 0.1
# With source and sensing feed both off the pin reads less than this, or the source is still there (electrics.md).
ABSENT_V: Final = 0.2
# biased: metal under a live source sits at about 0.1 V itself (electrics.md), so the line is drawn half above it; the
# wettest gap (177 Ω at 1500 µS/cm) still reads 0.3 V.
BIASED_METAL_V: Final = 0.15
# divider: a reading between half of burning and 7.5 V above burning is a discharge (references §1: 22.5 ± 7.5 V).
BURNING_TOP_V: Final = 31.0 * 4.5 / 64.0


@dataclass(slots=True)
class Window:
    """What one tick's samples showed, with the low run carried over from tick to tick.

    `sparks` counts pauses short enough to be a spark's, `pause_ms` is the last one's length; `low_ms` is the length
    of the low run still going on, 0 when the last sample was high; `ended_ms` the longest low run that ended in this
    tick beyond a spark pause; `quiet_ms` the time since the last sample that was low or burning; `near` counts the
    samples within `SPARKING_MS` of one. `longest_pause_ms` is what this source's pauses come to: set by who knows it.
    """

    samples: int = 0
    lows: int = 0
    burning: int = 0
    metal: int = 0
    sparks: int = 0
    pause_ms: float = 0.0
    low_ms: float = 0.0
    ended_ms: float = 0.0
    quiet_ms: float = NEVER_MS
    near: float = 0.0
    longest_pause_ms: float = SPARK_PAUSE_MAX_MS


class WindowReader:
    """Turns raw samples into windows, keeping the low run between ticks."""

    __slots__ = ("_burning", "_low", "_metal", "_to_volts", "window")

    def __init__(self, sampler: Sampler) -> None:
        to_volts = sampler.full_scale_v / ADC_COUNTS
        self._to_volts = to_volts
        self._low = LOW_V[sampler.front_end] / to_volts
        self._metal = BIASED_METAL_V / to_volts if sampler.front_end == "biased" else -1.0
        self._burning = BURNING_TOP_V / to_volts if sampler.front_end == "divider" else -1.0
        self.window = Window()

    def restart(self) -> None:
        """The source was just connected: no low goes on, and no spark was seen."""
        self.window.low_ms, self.window.quiet_ms = 0.0, NEVER_MS

    def read(self, samples: Sequence[int]) -> Window:
        """One tick's samples (counts, 1 ms apart, oldest first) → the window, the same object every time."""
        w = self.window
        w.samples = len(samples)
        w.sparks = w.lows = w.burning = w.metal = 0
        w.ended_ms = 0.0
        if not samples:
            return w
        if min(samples) >= self._low and self._burning < 0.0:
            if w.low_ms:
                self._end_run(w)
            w.near = min(max(SPARKING_MS - w.quiet_ms, 0.0), w.samples)
            w.quiet_ms += w.samples
            return w
        w.near = 0.0
        for count in samples:
            w.quiet_ms += 1.0
            if count < self._low:
                w.lows += 1
                w.low_ms += 1.0
                w.quiet_ms = 0.0
                if count < self._metal:
                    w.metal += 1
            else:
                if w.low_ms:
                    self._end_run(w)
                if count < self._burning:
                    w.burning += 1
                    w.quiet_ms = 0.0
            if w.quiet_ms <= SPARKING_MS:
                w.near += 1.0
        return w

    @staticmethod
    def _end_run(w: Window) -> None:
        if w.low_ms <= w.longest_pause_ms:
            w.sparks += 1
            w.pause_ms = w.low_ms
        else:
            # Whatever that was, it was no spark: until the next one the gap is open.
            w.ended_ms = max(w.ended_ms, w.low_ms)
            w.quiet_ms = NEVER_MS
        w.low_ms = 0.0
