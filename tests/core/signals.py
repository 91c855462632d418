"""Synthetic gap signals: one reading a millisecond, made state by state, for each front end. No plant, no geometry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from controller.core.gap import GapFilter, GapState
from controller.core.window import WindowReader
from controller.settings.machine import DropOuts, Sampler

COUNTS_PER_V = 1023 / 5.0
# Pin volts (electrics.md): clamp plateau 3 V for open and burning alike; divider 64 V -> 4.5 V; with `biased` a low
# over water reads some tenths of a volt, metal below 0.1 V. The source's own low: below 1 V at the gap.
OPEN_V = {"clamp": 3.0, "divider": 4.5, "biased": 3.0}
BURNING_V = {"clamp": 3.0, "divider": 22.5 * 4.5 / 64.0, "biased": 3.0}
METAL_V = {"clamp": 0.05, "divider": 0.01, "biased": 0.05}
OFF_V = {"clamp": 0.4, "divider": 0.03, "biased": 0.8}
NOISE_V = 0.008
TICK_MS = 10
GRACE_MS = 100  # a gap still counts as sparking this long after a discharge: a state is a regime; chosen so


@dataclass(frozen=True)
class Stretch:
    """One state for some milliseconds; `rate_hz` is the spark rate while sparking."""

    state: GapState
    ms: int
    rate_hz: float = 0.0


def played(stretch: Stretch, front_end: str, rng: np.random.Generator) -> tuple[list[int], list[GapState]]:
    """The stretch's readings in counts, and the true state of each: sparking for `GRACE_MS` after a discharge."""
    volts = np.full(stretch.ms, OPEN_V[front_end])
    truth: list[GapState] = [GapState.OPEN if stretch.state is GapState.SPARKING else stretch.state] * stretch.ms
    if stretch.state is GapState.SHORTED:
        volts[:] = METAL_V[front_end]
    elif stretch.state is GapState.OFF:
        volts[:] = OFF_V[front_end]
    elif stretch.state is GapState.SPARKING:
        at = 0.0
        while True:
            # Exponential delay (references §3), burning about 1 ms, then 2 to 6 ms of low (electrics.md, cut-out).
            low_ms = int(rng.integers(2, 7))
            at += max(rng.exponential(max(1000.0 / stretch.rate_hz - 5.0, 0.1)), 0.0)
            begin = int(at)
            if begin + 1 + low_ms >= stretch.ms:
                break
            volts[begin] = BURNING_V[front_end]
            volts[begin + 1 : begin + 1 + low_ms] = OFF_V[front_end]
            at += 1 + low_ms
            for ms in range(begin, min(begin + 1 + low_ms + GRACE_MS, stretch.ms)):
                truth[ms] = GapState.SPARKING
    counts = (volts + rng.normal(0.0, NOISE_V, stretch.ms)) * COUNTS_PER_V
    return [int(min(max(count, 0), 1023)) for count in counts], truth


@dataclass
class Heard:
    """What the filter said in each tick, against the true states of the tick's milliseconds."""

    true: list[list[GapState]]
    said: list[GapState]
    p_shorted: list[float]
    filter: GapFilter

    def share(self, of: Sequence[GapState] = tuple(GapState)) -> float:
        """Share of the time with a true state in `of` that was told right."""
        right = [t is s for ticks, s in zip(self.true, self.said, strict=True) for t in ticks if t in of]
        return sum(right) / len(right)

    def ticks(self, state: GapState) -> list[int]:
        """The ticks in which this state was told."""
        return [tick for tick, said in enumerate(self.said) if said is state]


def heard(stretches: Sequence[Stretch], front_end: str, seed: int = 1, fingerprint: DropOuts | None = None) -> Heard:
    """Play the stretches through reader and filter, never lifting the tip."""
    rng = np.random.default_rng(seed)
    both = [played(stretch, front_end, rng) for stretch in stretches]
    samples = [count for counts, _ in both for count in counts]
    truth = [state for _, states in both for state in states]
    sampler = Sampler.model_validate({"front_end": front_end})
    reader = WindowReader(sampler)
    gap = GapFilter(sampler, fingerprint or DropOuts(), TICK_MS / 1000.0)
    result = Heard([], [], [], gap)
    for at in range(0, len(samples) - TICK_MS + 1, TICK_MS):
        gap.update(reader.read(samples[at : at + TICK_MS]), 0.0, TICK_MS / 1000.0)
        result.true.append(truth[at : at + TICK_MS])
        result.said.append(gap.state)
        result.p_shorted.append(gap.p_shorted)
    return result


def log_normal_ms(rng: np.random.Generator, median_s: float, log_sd: float, low_ms: int, high_ms: int) -> int:
    """A duration by the log-normal law, within bounds."""
    return int(np.clip(1000.0 * median_s * np.exp(log_sd * rng.normal()), low_ms, high_ms))


def job(
    rng: np.random.Generator, seconds: float, rate_hz: float, drop_out_hz: float = 0.35, short_hz: float = 0.05
) -> list[Stretch]:
    """Erosion as it goes: sparks at a rate, drop-outs of 10 to 400 ms (electrics.md), shorts of about half a second."""
    stretches: list[Stretch] = []
    left_ms = seconds * 1000.0
    while left_ms > 0:
        ms = max(int(1000.0 * rng.exponential(1.0 / (drop_out_hz + short_hz))), 20)
        stretches.append(Stretch(GapState.SPARKING, ms, rate_hz))
        if rng.random() < short_hz / (drop_out_hz + short_hz):
            stretches.append(Stretch(GapState.SHORTED, max(int(500.0 * rng.exponential(1.0)), 30)))
        else:
            stretches.append(Stretch(GapState.OFF, log_normal_ms(rng, 0.06, 0.7, 14, 400)))
        left_ms -= ms
    return stretches
