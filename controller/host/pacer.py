"""When ticks are due, and how late they came: absolute deadlines, so that lateness never adds up. Told the time."""

from __future__ import annotations

from typing import Final

# Lateness is counted in bins of 10 µs up to 100 ms, the last bin taking what is later. Chosen: a tenth of the best that
# is aimed at, and far beyond what the fail-safe gate bears.
BIN_S, BINS = 1e-5, 10_000
# Missed ticks are reported this often at most (s), so that a computer in trouble does not flood the record. Chosen.
REPORT_S: Final = 1.0


class Pacer:
    """The deadlines of one loop.

    Args:
        tick_s: From one tick to the next.
        begin_s: The first deadline.

    Attributes:
        due_s: The next deadline.
        ticks, missed: Ticks that were made and ticks that were left out.
        worst_s: The latest tick's lateness.
    """

    __slots__ = ("_bins", "_report_s", "_tick_s", "_unreported", "_worst_s", "due_s", "missed", "ticks", "worst_s")

    def __init__(self, tick_s: float, begin_s: float) -> None:
        self._tick_s = tick_s
        self.due_s = begin_s
        self._report_s = begin_s
        self._bins = [0] * BINS
        self._unreported, self._worst_s = 0, 0.0
        self.ticks = self.missed = 0
        self.worst_s = 0.0

    def begin(self, now_s: float) -> float:
        """A tick begins; returns how late it is (s). Deadlines that have passed meanwhile are left out."""
        late_s = max(now_s - self.due_s, 0.0)
        self.ticks += 1
        self.worst_s = max(self.worst_s, late_s)
        self._bins[min(int(late_s / BIN_S), BINS - 1)] += 1
        missed = int(late_s / self._tick_s)
        if missed:
            self.missed += missed
            self._unreported += missed
            self._worst_s = max(self._worst_s, late_s)
        self.due_s += (missed + 1) * self._tick_s
        return late_s

    def report(self, now_s: float) -> tuple[int, float, int] | None:
        """Ticks missed since the last report, the worst lateness (s), all missed so far; None before it is time."""
        if not self._unreported or now_s < self._report_s:
            return None
        told = self._unreported, self._worst_s, self.missed
        self._report_s = now_s + REPORT_S
        self._unreported, self._worst_s = 0, 0.0
        return told

    def late_s(self, share: float) -> float:
        """The lateness that this share of the ticks did not exceed (s), to a bin."""
        left = share * self.ticks
        for number, count in enumerate(self._bins):
            left -= count
            if left <= 0.0:
                return (number + 1) * BIN_S
        return self.worst_s

    def words(self) -> str:
        """How well the deadlines were kept."""
        late_ms = [f"{self.late_s(share) * 1e3:.2f}" for share in (0.5, 0.99, 0.999)]
        return (
            f"{self.ticks} ticks, late by {' / '.join(late_ms)} ms (half / 99 % / 99.9 % of them less), "
            f"{self.worst_s * 1e3:.2f} ms at the most; {self.missed} missed"
        )
