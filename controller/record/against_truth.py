"""A rehearsal's estimates against what the virtual machine really did: how far off, and whether ± 2 u was honest."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import fmean, pstdev

from controller.core.events import ElectrodeMeasured, HoleStarted
from controller.record.by_hand import COVERAGE
from controller.record.journal import RunRecord
from controller.settings.units import UM_PER_MM

# Below this an error counts as inside whatever the uncertainty claims: the tables' own rounding, 0.1 µm.
ROUNDING_MM = 1e-4


@dataclass(slots=True, frozen=True)
class Estimate:
    """One estimate, its standard uncertainty and the truth (mm), with the hole or time it belongs to."""

    label: str
    estimate_mm: float
    u_mm: float
    truth_mm: float

    @property
    def error_mm(self) -> float:
        """Estimate minus truth."""
        return self.estimate_mm - self.truth_mm

    @property
    def inside(self) -> bool:
        """Whether the truth lies within two standard uncertainties of the estimate."""
        return abs(self.error_mm) <= max(COVERAGE * self.u_mm, ROUNDING_MM)


@dataclass(slots=True, frozen=True)
class Agreement:
    """How a set of estimates agrees with the truth (errors in µm)."""

    what: str
    count: int
    mean_error_um: float
    sd_um: float
    largest_um: float
    inside_share: float


def agreement(what: str, estimates: Iterable[Estimate]) -> Agreement | None:
    """Sum up a set of estimates; None when there are none."""
    held = list(estimates)
    if not held:
        return None
    errors_um = [UM_PER_MM * each.error_mm for each in held]
    inside = sum(each.inside for each in held) / len(held)
    return Agreement(what, len(held), fmean(errors_um), pstdev(errors_um), max(errors_um, key=abs), inside)


def exit_estimates(record: RunRecord) -> list[Estimate]:
    """Exit diameters of the holes called through."""
    truths = {truth.hole: truth.exit_diameter_mm for truth in record.true_holes}
    return [
        Estimate(f"hole {hole.hole}", hole.exit_diameter_mm, hole.exit_diameter_u_mm, truths[hole.hole])
        for hole in record.finished().values()
        if hole.outcome == "through" and hole.hole in truths
    ]


def tip_estimates(record: RunRecord) -> list[Estimate]:
    """Tip lengths at every measurement and every hole start."""
    truths = {tip.time_s: tip.tip_length_mm for tip in record.true_tips}
    found = []
    for event in record.events:
        if event.time_s not in truths:
            continue
        if isinstance(event, ElectrodeMeasured):
            label, u_mm = f"measurement after hole {event.hole}", event.u_mm
        elif isinstance(event, HoleStarted):
            label, u_mm = f"start of hole {event.hole}", event.tip_length_u_mm
        else:
            continue
        found.append(Estimate(label, event.tip_length_mm, u_mm, truths[event.time_s]))
    return found


def called_done_but_blind(record: RunRecord) -> list[int]:
    """Holes called through whose truth is blind: the one mistake that must never happen."""
    blind = {truth.hole for truth in record.true_holes if not truth.through}
    return sorted(hole.hole for hole in record.finished().values() if hole.outcome == "through" and hole.hole in blind)


def through_but_unnoticed(record: RunRecord) -> list[int]:
    """Holes that are open at the far face but were not called through or undersize."""
    through = {truth.hole for truth in record.true_holes if truth.through}
    return sorted(hole.hole for hole in record.finished().values() if hole.outcome == "failed" and hole.hole in through)
