"""Hypothesis strategies for what the core may see: open-loop sequences of observations, and upsets of a closed loop.

`plausible()` draws sequences that a working machine could send: one thing at a time changes, positions move no faster
than an axis can, a spark's low is short and a short's is long. `hostile()` draws sequences that no machine should send
and some broken one will: contacts that flip from tick to tick, positions that jump, a board that loses itself, samples
from noise, ticks without samples. Both keep to the seam's contract (design.md §3, wires.md): times rise, readings are
whole numbers from 0 to 1023, every number is finite.

Sequences are drawn as a few episodes of some ticks each, since that is how machines change and how failures shrink.

An open loop rarely gets far into a job. For that, run a closed loop and let `upsets()` spoil what it reports: each
upset holds one field at one reading for some ticks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from hypothesis import strategies as st

from controller.core.observation import BoardState, Observation

FULL_SCALE = 1023  # 10 bits (wires.md, sampler)
TICK_S = 0.01  # 100 Hz, the default (design.md §3)
SAMPLES_PER_TICK = 10  # one reading a millisecond (wires.md, sampler)
AXIS_UM_PER_TICK = 100.0  # 10 mm/s along z, the top speed of the default machine file


class Signal(str):
    """The name of a kind of gap signal, as `readings` draws it."""


OPEN, SPARKING, SHORTED, OFF, METAL, WET, NOISE, SILENT = (
    Signal(name) for name in ("open", "sparking", "shorted", "source off", "metal", "wet", "noise", "silent")
)
# Readings in counts of 5 V: clamp plateau 3 V, metal below 0.1 V, wet contact 0.3 to 1.8 V (electrics.md).
LEVELS = {OPEN: (600, 625), SHORTED: (0, 20), OFF: (0, 30), METAL: (0, 19), WET: (60, 370), NOISE: (0, FULL_SCALE)}
BELIEVABLE = (OPEN, SPARKING, SHORTED, OFF, METAL, WET)
ANY = (*BELIEVABLE, NOISE, SILENT)


@dataclass(frozen=True)
class Episode:
    """Some ticks of one kind: the signal, the switches and how far the axes go (micrometres a tick)."""

    ticks: int
    signal: Signal
    step_um: tuple[float, float, float]
    switches: dict[str, Any]
    seed: int


def readings(signal: Signal, count: int, rng: np.random.Generator) -> list[int]:
    """`count` raw samples of one kind of signal."""
    if signal is SILENT:
        return []
    if signal is SPARKING:
        # A discharge ends in a low of 1 to 10 ms (electrics.md, cut-out law): a low half the time, in runs.
        low = int(rng.integers(0, 11))
        high, pause = readings(OPEN, count, rng), readings(SHORTED, count, rng)
        return [pause[n] if (n + low) % 13 < low else high[n] for n in range(count)]
    return [int(count) for count in rng.integers(*LEVELS[signal], size=count, endpoint=True)]


def _switches(*, hostile: bool) -> st.SearchStrategy[dict[str, Any]]:
    """The digital inputs and the board. A plausible machine mostly says that all is well."""
    if hostile:
        well, ill = st.booleans(), st.booleans()
        board, homed = st.sampled_from(BoardState), st.booleans()
        age, queued = st.floats(0.0, 5.0), st.integers(0, 40)
    else:
        well, ill = st.sampled_from([True] * 9 + [False]), st.sampled_from([False] * 9 + [True])
        board = st.sampled_from([BoardState.READY] * 8 + [BoardState.HOMING])
        homed, age, queued = st.just(True), st.floats(0.0, 0.002), st.integers(0, 3)
    return st.fixed_dictionaries(
        {
            "contact_open": st.booleans(),
            "flow": well,
            "stop_pressed": ill,
            "guard_closed": well,
            "level_ok": well,
            "board": board,
            "homed": homed,
            "sampler_age_s": age,
            "queued": queued,
        }
    )


def _episodes(*, hostile: bool, longest: int) -> st.SearchStrategy[Episode]:
    reach = 1e5 if hostile else AXIS_UM_PER_TICK
    step = st.just(0.0) | st.floats(-reach, reach)
    return st.builds(
        Episode,
        ticks=st.integers(1, longest),
        signal=st.sampled_from(ANY if hostile else BELIEVABLE),
        step_um=st.tuples(step, step, step),
        switches=_switches(hostile=hostile),
        seed=st.integers(0, 2**16),
    )


def unroll(episodes: Sequence[Episode], *, flicker: bool, tick_s: float = TICK_S) -> list[Observation]:
    """The observations of some episodes, one after another. With `flicker` every switch may flip at every tick."""
    return list(_ticks(episodes, flicker=flicker, tick_s=tick_s))


def _ticks(episodes: Sequence[Episode], *, flicker: bool, tick_s: float) -> Iterator[Observation]:
    tick = 0
    x, y, z = 40_000.0, 40_000.0, -10_000.0
    for episode in episodes:
        rng = np.random.default_rng(episode.seed)
        dx, dy, dz = episode.step_um
        bursts = _bursts(episode, rng, flicker=flicker)
        for samples, switches in zip(bursts, _switched(episode, rng, flicker=flicker), strict=True):
            x, y, z = x + dx, y + dy, z + dz
            yield Observation(time_s=tick * tick_s, samples=samples, x_um=x, y_um=y, z_um=z, **switches)
            tick += 1


def _bursts(episode: Episode, rng: np.random.Generator, *, flicker: bool) -> Iterator[list[int]]:
    """Every tick's samples, cut from one stream; with `flicker` none, one, as many as there should be, or too many."""
    counts = rng.choice((0, 1, SAMPLES_PER_TICK, 25), episode.ticks) if flicker else [SAMPLES_PER_TICK] * episode.ticks
    stream = readings(episode.signal, int(sum(counts)), rng)
    at = 0
    for count in counts:
        yield stream[at : at + count]
        at += count


def _switched(episode: Episode, rng: np.random.Generator, *, flicker: bool) -> Iterator[dict[str, Any]]:
    """Every tick's switches. With `flicker` each input flips in one tick of ten: some bounce, some stay put."""
    if not flicker:
        yield from [episode.switches] * episode.ticks
        return
    inputs = [name for name, reading in episode.switches.items() if isinstance(reading, bool)]
    for flips in (rng.random((episode.ticks, len(inputs))) < 0.1).tolist():
        flipped = {name: not episode.switches[name] for name, flip in zip(inputs, flips, strict=True) if flip}
        yield episode.switches | flipped


def plausible(episodes: int = 8, longest: int = 60) -> st.SearchStrategy[list[Observation]]:
    """Sequences of up to `episodes` episodes of up to `longest` ticks that a working machine could send."""
    return st.lists(_episodes(hostile=False, longest=longest), min_size=1, max_size=episodes).map(
        lambda drawn: unroll(drawn, flicker=False)
    )


def hostile(episodes: int = 8, longest: int = 30) -> st.SearchStrategy[list[Observation]]:
    """Sequences that only a broken machine could send, within the types and ranges of the seam."""
    return st.lists(_episodes(hostile=True, longest=longest), min_size=1, max_size=episodes).map(
        lambda drawn: unroll(drawn, flicker=True)
    )


def any_sequence(episodes: int = 8, longest: int = 30) -> st.SearchStrategy[list[Observation]]:
    """Plausible or hostile sequences."""
    return plausible(episodes, longest) | hostile(episodes, longest)


@dataclass(frozen=True)
class Upset:
    """One field of the observation held at one reading, from one tick for some ticks."""

    begins: int
    ticks: int
    field: str
    reading: Any

    def spoils(self, tick: int) -> bool:
        """Whether this upset is on at a tick."""
        return self.begins <= tick < self.begins + self.ticks


def spoilt(name: str) -> st.SearchStrategy[Any]:
    """What a field may be held at."""
    if name in ("contact_open", "flow", "stop_pressed", "guard_closed", "level_ok", "homed"):
        return st.booleans()
    return {
        "board": st.sampled_from(BoardState),
        "queued": st.integers(0, 40),
        "sampler_age_s": st.floats(0.0, 5.0),
        "samples": st.sampled_from(ANY).flatmap(
            lambda signal: st.integers(0, 2**16).map(
                lambda seed: readings(signal, SAMPLES_PER_TICK, np.random.default_rng(seed))
            )
        ),
        "x_um": st.floats(-1e6, 1e6),
        "y_um": st.floats(-1e6, 1e6),
        "z_um": st.floats(-1e6, 1e6),
        "seeking": st.sampled_from(["", "x", "xy", "z"]),
    }[name]


SPOILABLE = (
    "samples", "sampler_age_s", "contact_open", "flow", "stop_pressed", "guard_closed", "level_ok",
    "x_um", "y_um", "z_um", "queued", "board", "homed", "seeking",
)  # fmt: skip


def upsets(
    within_ticks: int, most: int = 6, longest: int = 200, fields: Sequence[str] = SPOILABLE
) -> st.SearchStrategy[list[Upset]]:
    """Up to `most` upsets of a run of `within_ticks` ticks, each of up to `longest` ticks."""
    one = st.sampled_from(list(fields)).flatmap(
        lambda name: st.builds(
            Upset, st.integers(0, within_ticks - 1), st.integers(1, longest), st.just(name), spoilt(name)
        )
    )
    return st.lists(one, max_size=most)


def spoil(observation: Observation, tick: int, drawn: Sequence[Upset]) -> Observation:
    """The observation as it reads with the upsets that are on at this tick; the given one is left as it is."""
    held = {upset.field: upset.reading for upset in drawn if upset.spoils(tick)}
    return replace(observation, **held) if held else observation
