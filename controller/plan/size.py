"""Can this rod make this size? If not: which rod would."""

from __future__ import annotations

import math
from dataclasses import dataclass

from controller.plan.overcut import Overcut
from controller.settings.job import Job

ROD_STEP_MM = 0.1
"""Rods are sold in steps of a tenth of a millimetre (common practice, no source)."""

SIGMAS = 2.0
"""Standard uncertainties within which an ungauged overcut leaves the size open: about 95 %."""


@dataclass(slots=True, frozen=True)
class Size:
    """What the job's rod will make, against what the job wants.

    Attributes:
        ok: False when the job is to be refused.
        diameter_mm: Exit diameter expected of this rod.
        u_mm: Standard uncertainty of one hole's diameter.
        within: Share of holes expected inside the tolerance, 0..1.
        rod_needed_mm: The rod that would make the size exactly.
        rods_mm: The rods on sale next below and above that one (they may be the same).
        words: The verdict in a sentence, with the remedy when it is no.
    """

    ok: bool
    diameter_mm: float
    u_mm: float
    within: float
    rod_needed_mm: float
    rods_mm: tuple[float, float]
    words: str


def judge_size(job: Job, overcut: Overcut) -> Size:
    """The size a job's rod makes with an overcut believed.

    A first article is never refused: it is there to learn the overcut. With a mere guess a job is refused only when its
    size lies beyond anything the guess allows; with a gauged overcut, when the mean hole would be out of tolerance.
    """
    holes, rod = job.holes, job.electrode.diameter_mm
    diameter, u = rod + 2.0 * overcut.mean_mm, overcut.u_new_diameter_mm
    off = abs(diameter - holes.diameter_mm)
    allowed = holes.tolerance_mm + (SIGMAS * u if overcut.n == 0 else 0.0)
    ok = job.job.first_article or off <= allowed
    needed = holes.diameter_mm - 2.0 * overcut.mean_mm
    rods = _on_sale(needed)
    within = _share(diameter, u, holes.diameter_mm, holes.tolerance_mm)
    return Size(ok, diameter, u, within, needed, rods, _words(job, overcut, ok, diameter, within, needed, rods))


def _on_sale(needed_mm: float) -> tuple[float, float]:
    steps = needed_mm / ROD_STEP_MM
    nearest = round(steps)
    if abs(steps - nearest) < 0.01:  # a hundredth of a step is no difference in a rod; chosen so
        return (round(nearest * ROD_STEP_MM, 3), round(nearest * ROD_STEP_MM, 3))
    return (round(math.floor(steps) * ROD_STEP_MM, 3), round(math.ceil(steps) * ROD_STEP_MM, 3))


def _share(mean: float, sd: float, nominal: float, tolerance: float) -> float:
    """Share of a normal distribution inside nominal ± tolerance."""

    def below(limit: float) -> float:
        return 0.5 * (1.0 + math.erf((limit - mean) / (sd * math.sqrt(2.0))))

    return below(nominal + tolerance) - below(nominal - tolerance)


def _words(
    job: Job, overcut: Overcut, ok: bool, diameter: float, within: float, needed: float, rods: tuple[float, float]
) -> str:
    holes, rod = job.holes, job.electrode.diameter_mm
    wanted = f"{holes.diameter_mm:g} ± {holes.tolerance_mm:g} mm"
    makes = f"a {rod:g} mm rod makes {diameter:.3f} ± {2.0 * overcut.u_new_diameter_mm:.3f} mm"
    if not ok:
        on_sale = _alternatives(holes.diameter_mm, needed, rods)
        return f"{makes}, not {wanted}: it would take a rod of {needed:.3f} mm; {on_sale}"
    if overcut.n == 0:
        return f"{makes} by the technology's guess; {wanted} is wanted: gauge a first article before you rely on it"
    return f"{makes}; {wanted} is wanted: about {100.0 * within:.0f} % of the holes will be in tolerance"


def _alternatives(wanted_mm: float, needed: float, rods: tuple[float, float]) -> str:
    sizes = [f"{rod:g} mm would make {wanted_mm + rod - needed:.3f} mm" for rod in dict.fromkeys(rods) if rod > 0]
    return f"on sale: {', '.join(sizes)}" if sizes else "no rod on sale is so thin"
