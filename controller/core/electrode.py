"""What is believed of the electrode: tip length, wear a hole, cone length, stock, each with its uncertainty.

Tip length is the distance from the holder's face to the lowest point. It is known from a touch on the reference plate
and predicted in between: each hole takes an amount that is the same on average (learned) and scatters from hole to
hole (learned too, from how far the predictions were off). A two-state Kalman filter, tip length and wear a hole, in
plain floats. Predicting wear without measuring goes wrong with depth (Puthumana, Bissacco & Hansen 2017,
10.1007/s00170-017-0371-5); periodic measurement is the simple remedy (Malayath et al. 2019).
"""

from __future__ import annotations

from math import exp, sqrt
from typing import Final

# The wear of a hole drifts while the tip takes its shape and the water gets dirty: 3 % of it from hole to hole to begin
# with, then as much as the measurements show, within bounds that keep the filter awake. Chosen so that a change by a
# third is followed within some ten measurements.
WEAR_DRIFT: Final = 0.03
LEAST_DRIFT: Final = 0.005
MOST_DRIFT: Final = 0.1
# Each measurement moves the drift by some 15 %, one surprise by half at most. Chosen so.
DRIFT_STEP: Final = 0.15
SURPRISE_MAX: Final = 4.0


# A young cone grows by up to a third from hole to hole (two of these). One that has been worn by n holes grows by no
# more than an n-th: faster than in proportion to the holes no cone grows, since what is worn off a longer one is spread
# over more of it. Never taken for known to better than the last figure, so that a change of water is followed. Chosen.
CONE_DRIFT: Final = 0.15
LEAST_CONE_DRIFT: Final = 0.02
# A much shorter one seen counts for a fiftieth. Chosen so that nearly all holes may hide their cone.
SHORTER_GAIN: Final = 0.02
# Shorter than believed by more than so many times what a hole shows it to, it was hidden; its growth is followed within
# some five holes. Chosen.
HIDDEN: Final = 1.5
GROWTH_SHARE: Final = 0.2
# What is left of that growth from one hidden hole to the next: ten holes' worth in all. Chosen: soundings come sooner.
GROWN_ON: Final = 0.9


class Electrode:
    """Belief about the electrode in use, in millimetres.

    Attributes:
        stock_mm: length of rod that is left in all, tip to the end above the holder.
        cone_mm, cone_u_mm: length of the worn cone, as the last holes showed it.
        cones_seen: how many holes this rod's tip has made.
        suspected_mm: by how much first sparks have changed the belief since the last measurement.
    """

    __slots__ = (
        "_cone_growth_mm",
        "_cov",
        "_drift",
        "_holes_since",
        "_scatter2",
        "_scatter_weight",
        "_tip",
        "_tip_var",
        "_wear",
        "_wear_var",
        "cone_mm",
        "cone_u_mm",
        "cones_seen",
        "stock_mm",
        "suspected_mm",
    )

    def __init__(
        self, tip_mm: float, tip_u_mm: float, wear_mm: float, wear_u_mm: float, stock_mm: float, cone_mm: float
    ) -> None:
        self._tip, self._tip_var = tip_mm, tip_u_mm**2
        self._wear, self._wear_var = wear_mm, wear_u_mm**2
        self._cov = 0.0
        self._drift = WEAR_DRIFT
        # Hole-to-hole scatter before anything was learned: a quarter of the wear itself. Common practice, no source.
        self._scatter2 = (0.25 * wear_mm) ** 2
        self._scatter_weight = 2.0
        self._holes_since = 0.0
        self.stock_mm = stock_mm
        # A new rod is flat; how far from flat it soon gets is as uncertain as the whole guess.
        self.cone_mm, self.cone_u_mm = 0.0, cone_mm
        self.cones_seen = 0
        self._cone_growth_mm = 0.0
        self.suspected_mm = 0.0

    @property
    def tip_mm(self) -> float:
        """Believed tip length."""
        return self._tip

    @property
    def tip_u_mm(self) -> float:
        """Standard uncertainty of the tip length."""
        return sqrt(self._tip_var)

    @property
    def wear_mm(self) -> float:
        """Length that a hole takes, on average."""
        return self._wear

    @property
    def worn_mm(self) -> float:
        """Length believed to have been taken since the last measurement."""
        return self._holes_since * self._wear

    @property
    def drift(self) -> float:
        """How much the average wear changes from hole to hole, as a share of it (one standard deviation)."""
        return self._drift

    @property
    def wear_u_mm(self) -> float:
        """Standard uncertainty of the wear of one more hole: of the average and of the scatter."""
        return sqrt(self._wear_var + self._scatter2)

    @property
    def belief(self) -> tuple[float, ...]:
        """Everything that is believed, as numbers; `believe` takes it up again."""
        return (
            self._tip,
            self._tip_var,
            self._wear,
            self._wear_var,
            self._cov,
            self._drift,
            self._scatter2,
            self._scatter_weight,
            self._holes_since,
            self.stock_mm,
            self.cone_mm,
            self.cone_u_mm,
            float(self.cones_seen),
        )

    def believe(self, belief: tuple[float, ...]) -> None:
        """Take up what was believed before. Raises ValueError for numbers that are no such belief."""
        (
            self._tip,
            self._tip_var,
            self._wear,
            self._wear_var,
            self._cov,
            self._drift,
            self._scatter2,
            self._scatter_weight,
            self._holes_since,
            self.stock_mm,
            self.cone_mm,
            self.cone_u_mm,
            cones_seen,
        ) = belief
        self.cones_seen = int(cones_seen)

    def drilled(self, share: float) -> None:
        """One hole's wear, or a share of it, was taken from the tip."""
        self._tip -= share * self._wear
        self._tip_var += share * share * self._wear_var - 2.0 * share * self._cov + share * self._scatter2
        self._cov -= share * self._wear_var
        self._wear_var += (share * self._drift * self._wear) ** 2
        self._holes_since += share
        self.stock_mm -= share * self._wear

    def u_after(self, holes: float) -> float:
        """Standard uncertainty of the tip length after so many more holes without a measurement."""
        return sqrt(self._tip_var + holes * holes * self._wear_var - 2.0 * holes * self._cov + holes * self._scatter2)

    def measured(self, tip_mm: float, u_mm: float) -> None:
        """Take in a measured tip length."""
        off = tip_mm - self._tip
        if self._holes_since > 0.0:
            self._learn_scatter(off, u_mm)
        total = self._tip_var + u_mm**2
        if self._holes_since > 0.0:
            self._learn_drift(off * off / total)
        gain_tip, gain_wear = self._tip_var / total, self._cov / total
        if self._holes_since > 0.0:
            # Worn off; without a hole since, it only tells how far the rod was clamped out of the holder.
            self.stock_mm += gain_tip * off
        self._tip += gain_tip * off
        self._wear = max(self._wear + gain_wear * off, 0.0)
        self._wear_var -= gain_wear * self._cov
        self._cov *= 1.0 - gain_tip
        self._tip_var *= 1.0 - gain_tip
        self._holes_since = 0.0

    def found_shorter(self, by_mm: float, u_mm: float) -> None:
        """A first spark came later (or sooner, negative) than the believed tip allows: believe it, and measure soon."""
        self._tip -= by_mm
        self.suspected_mm += by_mm
        self._tip_var = u_mm**2
        self._cov = 0.0

    def unsettle(self, u_mm: float) -> None:
        """Hands were on it: where it stands is known no better than this, what was learned of wear stays."""
        self._tip_var, self._cov, self._holes_since = u_mm**2, 0.0, 0.0

    def renewed(self, tip_mm: float, u_mm: float, stock_mm: float | None = None) -> None:
        """The electrode was pushed down or replaced: the tip is known anew, what was learned of wear stays."""
        self._tip, self._tip_var, self._cov = tip_mm, u_mm**2, 0.0
        self._holes_since = 0.0
        if stock_mm is not None:
            self.stock_mm = stock_mm

    def cone_seen(self, cone_mm: float, u_mm: float) -> None:
        """Take in a cone length shown by a hole, from the far face to the last sparks.

        The flank of a longer cone may pass without a spark, so that a hole shows no more than the cone is long: what is
        about as long as believed, or longer, is taken for what it is; what is much shorter was hidden. Such a cone is
        believed to have grown on as it did while it was in sight, ever less, and the belief comes down slowly.
        """
        self.cones_seen += 1
        drift = max(min(CONE_DRIFT, 0.5 / self.cones_seen), LEAST_CONE_DRIFT)
        variance = self.cone_u_mm**2 + (drift * self.cone_mm) ** 2
        gain = variance / (variance + u_mm**2)
        self.cone_mm += self._cone_growth_mm
        off_mm = cone_mm - self.cone_mm
        if off_mm > -HIDDEN * u_mm:
            # How long the first one is says nothing of its growth.
            self._cone_growth_mm += GROWTH_SHARE * gain * off_mm if self.cones_seen > 1 else 0.0
        else:
            gain *= SHORTER_GAIN
            self._cone_growth_mm *= GROWN_ON
        self.cone_mm += gain * off_mm
        self.cone_u_mm = sqrt((1.0 - gain) * variance)
        # Never believed to shrink, nor to grow faster than it has on average.
        self._cone_growth_mm = min(max(self._cone_growth_mm, 0.0), self.cone_mm / self.cones_seen)

    def _learn_drift(self, surprise: float) -> None:
        """Let the wear drift more when predictions are worse than they say, less when they are better.

        `surprise` is the squared error over its variance, 1 on average for a prediction that knows how good it is.
        """
        grown = self._drift * exp(DRIFT_STEP * (min(surprise, SURPRISE_MAX) - 1.0))
        self._drift = min(max(grown, LEAST_DRIFT), MOST_DRIFT)

    def _learn_scatter(self, off: float, u_mm: float) -> None:
        """Compare how far the prediction was off with what it said of itself; move the scatter toward the truth."""
        explained = max(self._tip_var - self._holes_since * self._scatter2, 0.0) + u_mm**2
        # Negative as often as chance will have it: cut off at 0, small scatters would be overrated for ever.
        seen2 = (off * off - explained) / self._holes_since
        self._scatter_weight = min(self._scatter_weight + 1.0, 30.0)
        self._scatter2 = max(self._scatter2 + (seen2 - self._scatter2) / self._scatter_weight, 1e-6)
