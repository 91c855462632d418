"""Chance, one seeded stream per subsystem: the same seed gives the same plant, and a new subsystem disturbs no old one.

Draws are made by numpy in batches and handed out as plain floats, so that one costs tens of nanoseconds.
"""

from __future__ import annotations

import zlib
from typing import Final

import numpy as np
from numpy.typing import NDArray

# Draws made at once. Chosen so that a refill is rare beside the sparks of a hole, yet a stream that is used little
# costs little.
BATCH: Final = 1024


class Draws:
    """One stream of plain-float draws. Each kind of draw has its own generator, so that batches never interfere."""

    __slots__ = ("_e", "_exponential", "_n", "_normal", "_u", "_uniform")

    def __init__(self, root: np.random.SeedSequence) -> None:
        first, second, third = root.spawn(3)
        self._uniform = np.random.Generator(np.random.PCG64(first))
        self._exponential = np.random.Generator(np.random.PCG64(second))
        self._normal = np.random.Generator(np.random.PCG64(third))
        self._u: list[float] = []
        self._e: list[float] = []
        self._n: list[float] = []

    def uniform(self) -> float:
        """Even between 0 (in) and 1 (out)."""
        try:
            return self._u.pop()
        except IndexError:
            self._u = self._uniform.random(BATCH).tolist()
            return self._u.pop()

    def exponential(self) -> float:
        """Exponential with mean 1."""
        try:
            return self._e.pop()
        except IndexError:
            self._e = self._exponential.standard_exponential(BATCH).tolist()
            return self._e.pop()

    def normals(self) -> NDArray[np.float64]:
        """A whole batch of normal draws, for whoever shapes them at once. In step with nothing but itself."""
        return self._normal.standard_normal(BATCH)

    def normal(self) -> float:
        """Normal with mean 0 and standard deviation 1."""
        try:
            return self._n.pop()
        except IndexError:
            self._n = self._normal.standard_normal(BATCH).tolist()
            return self._n.pop()


class Streams:
    """The streams of one plant. `streams.named("source")` is always the same stream for the same seed and name."""

    __slots__ = ("_named", "seed")

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self._named: dict[str, Draws] = {}

    def named(self, name: str) -> Draws:
        """The stream of a subsystem; asked for twice it goes on where it was."""
        stream = self._named.get(name)
        if stream is None:
            root = np.random.SeedSequence([self.seed & 0xFFFFFFFFFFFFFFFF, zlib.crc32(name.encode())])
            stream = self._named[name] = Draws(root)
        return stream
