"""What one observation means: the gap, the pin's volts, how far the tip was lifted since a low began."""

from __future__ import annotations

from collections import deque
from typing import Final

from controller.core.gap import GapFilter
from controller.core.observation import Observation
from controller.core.window import ADC_COUNTS, WindowReader
from controller.settings.machine import Machine
from controller.settings.units import S_PER_MS

# The mirror contact breaks before the main contact makes; with its travel (15–20 ms, electrics.md) and bounce the gap
# is no signal for that long. Twice the release time asked for: chosen.
SETTLE_S: Final = 0.04
# A contact that changes so often within a second chatters: commanded, it changes twice at the most. Chosen.
FLIPS: Final = 6
FLIPS_S: Final = 1.0
# So many long lows within so long, and the source away for more than half of it, are no shorts: those are answered, and
# come some times in a second at the most (common practice, no source). Chosen.
STORM_LOWS: Final = 40
STORM_S: Final = 12.0
STORM_SHARE: Final = 0.5


class Sense:
    """The tick's observation, digested once for everybody.

    Attributes:
        seen: the observation itself.
        live: the source is connected (mirror contact says so) and has settled.
        live_s: for how long.
        sparks: sparks in this tick.
        idle_s: time since the last spark while live: nothing was removed. A drop-out's low is no spark.
        step_s: time since the observation before this one; 0 at the first.
        flips: how often the mirror contact has changed; `flipped_s`: when, the last times.
        stormy: long lows come so often that the source is away for much of the time, with nothing shorted for long.
        play_um: what the feed axis is believed to lose at a reversal.
        open_s: time that the gap now stood at high level without a long low, while live.
    """

    __slots__ = (
        "_contact_open",
        "_last_s",
        "_low_z_um",
        "_lows",
        "_tick_s",
        "_to_volts",
        "flipped_s",
        "flips",
        "gap",
        "idle_s",
        "live",
        "live_s",
        "open_s",
        "play_um",
        "reader",
        "seen",
        "sparks",
        "step_s",
        "stormy",
    )

    def __init__(self, machine: Machine) -> None:
        self._tick_s = 1.0 / machine.tick_hz
        self.play_um = machine.axes.backlash_um[2]
        self._to_volts = machine.sampler.full_scale_v / ADC_COUNTS
        self._low_z_um: float | None = None
        self.gap = GapFilter(machine.sampler, machine.drop_outs, self._tick_s)
        self.reader = WindowReader(machine.sampler)
        self.live = False
        self.live_s = self.idle_s = self.open_s = 0.0
        self.sparks = 0
        self.step_s = 0.0
        self._last_s: float | None = None
        self._contact_open = True
        self.flips = 0
        self.stormy = False
        self._lows: deque[tuple[float, float]] = deque(maxlen=STORM_LOWS)
        self.flipped_s: deque[float] = deque(maxlen=FLIPS)
        self.seen: Observation

    @property
    def time_s(self) -> float:
        """Machine time of the tick."""
        return self.seen.time_s

    @property
    def quiet_s(self) -> float:
        """For how long the gap has stood open while live: at high level, and without a spark."""
        return min(self.open_s, self.idle_s) if self.live and not self.reader.window.low_ms else 0.0

    @property
    def long_low(self) -> bool:
        """A low is no spark's pause: perhaps a short, perhaps a drop-out."""
        return self.reader.window.long_low

    @property
    def chatters(self) -> bool:
        """The source contact opens and closes by itself."""
        return len(self.flipped_s) == FLIPS and self.seen.time_s - self.flipped_s[0] < FLIPS_S

    def pin_v(self) -> float:
        """Mean of the tick's samples, volts at the pin; 0 without samples."""
        samples = self.seen.samples
        return sum(samples) / len(samples) * self._to_volts if samples else 0.0

    def take(self, seen: Observation) -> None:
        """Digest one observation."""
        self.seen = seen
        self.step_s = 0.0 if self._last_s is None else seen.time_s - self._last_s
        self._last_s = seen.time_s
        if seen.contact_open is not self._contact_open:
            self._contact_open = seen.contact_open
            self.flips += 1
            self.flipped_s.append(seen.time_s)
        if seen.contact_open:
            self.live, self.live_s, self.sparks = False, 0.0, 0
            return
        self.live_s += self._tick_s
        if self.live_s < SETTLE_S:
            return
        if not self.live:
            self.live = True
            self.idle_s = self.open_s = 0.0
            self._low_z_um = None
            self.gap.restart()
            self.reader.restart()
        window = self.reader.read(seen.samples)
        self.sparks = window.sparks
        self.gap.update(window, self._lift_um(seen.z_um), self._tick_s)
        if window.ended_ms:
            self._low_over(window.ended_ms)
        worked = window.sparks or window.burning
        self.idle_s = 0.0 if worked else self.idle_s + self._tick_s
        # A long low may begin and end between two looks.
        unclear = self.long_low or window.ended_ms or not window.samples
        self.open_s = 0.0 if unclear else self.open_s + self._tick_s

    def _low_over(self, ended_ms: float) -> None:
        """A low longer than a spark's pause is over: a short, or a drop-out."""
        lows, now_s = self._lows, self.seen.time_s
        lows.append((now_s, ended_ms))
        took_s = now_s - lows[0][0]
        away_s = sum(low_ms for _, low_ms in lows) * S_PER_MS
        self.stormy = len(lows) == STORM_LOWS and took_s < STORM_S and away_s > STORM_SHARE * took_s

    def _lift_um(self, z_um: float) -> float:
        """How far the tip was lifted since the present (or the just ended) low began, play taken off."""
        if not self.reader.window.long_low and not self.reader.window.ended_ms:
            self._low_z_um = None
            return 0.0
        if self._low_z_um is None:
            self._low_z_um = z_um
        return max(z_um - self._low_z_um - self.play_um, 0.0)
