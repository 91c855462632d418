"""How long a job will still take, while it runs: what was expected, corrected by the holes made so far."""

from __future__ import annotations

import math
from collections.abc import Sequence

from controller.plan.ranges import TWO_SIDED_95, Range

HOLE_SCATTER = 0.15
"""Relative scatter of time and wear from hole to hole. Chosen so; it hardly matters, since it averages out."""


def seconds_left(expected: Range, holes: int, elapsed_s: float, made_s: Sequence[float]) -> Range:
    """The time a job will still take, s; the limits hold about 95 %.

    The time for each hole, everything in between shared out, is expected as the plan has it and is seen in what was
    made; the two are weighed by their variances (a normal law with a normal one before it). What is left then scatters
    by what isn't known of the mean, which is the same for all holes, and from hole to hole, which averages out.

    Args:
        expected: What the plan expected for the whole job, s.
        holes: Holes of the job.
        elapsed_s: Machine time so far.
        made_s: Seconds of each finished hole.
    """
    left = max(holes - len(made_s), 0)
    mean_s, u_s = expected.expected / holes, (expected.high - expected.low) / (2.0 * TWO_SIDED_95 * holes)
    scatter_s = HOLE_SCATTER * mean_s
    if made_s:
        made_mean_s = math.fsum(made_s) / len(made_s)
        seen_s = max(elapsed_s / len(made_s), made_mean_s)
        made_sd_s = math.sqrt(math.fsum((each - made_mean_s) ** 2 for each in made_s) / len(made_s))
        scatter_s = max(made_sd_s, HOLE_SCATTER * seen_s)
        seen_u_s = scatter_s / math.sqrt(len(made_s))
        weight = u_s**2 / (u_s**2 + seen_u_s**2)
        mean_s, u_s = mean_s + weight * (seen_s - mean_s), u_s * math.sqrt(1.0 - weight)
    reach_s = TWO_SIDED_95 * math.hypot(left * u_s, math.sqrt(left) * scatter_s)
    return Range(max(left * mean_s - reach_s, 0.0), left * mean_s, left * mean_s + reach_s)
