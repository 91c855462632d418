"""What is believed of the electrode: tip length, wear a hole, cone length, stock, each with its uncertainty.

Tip length is the distance from the holder's face to the lowest point. It is known from a touch on the reference plate
and predicted in between: each hole takes an amount that is the same on average (learned), and leaves the tip a little
longer or shorter than that (learned too, from how far the predictions were off). Such a remainder is no loss for good:
a tip that one hole has worn more the next ones wear less, so it fades over some holes. A Kalman filter of three states:
length as it would be without remainders, wear a hole, remainder. Predicting wear without measuring goes wrong with
depth (Puthumana, Bissacco & Hansen 2017, 10.1007/s00170-017-0371-5); periodic measurement is the simple remedy
(Malayath et al. 2019).
"""

from __future__ import annotations

from math import exp, sqrt
from typing import Final, NamedTuple

# The wear of a hole drifts while the tip takes its shape and the water gets dirty: 3 % of it from hole to hole to begin
# with, then as much as the measurements show, within bounds that keep the filter awake. Chosen so that a change by a
# third is followed within some ten measurements.
WEAR_DRIFT: Final = 0.03
LEAST_DRIFT: Final = 0.005
MOST_DRIFT: Final = 0.1
# Each measurement moves the drift by some 15 %, one surprise by half at most. Chosen so.
DRIFT_STEP: Final = 0.15
SURPRISE_MAX: Final = 4.0
# Off by more than three standard uncertainties (their square is nine), these were too small. One look changes the wear
# of a hole to its double or its half at the most: a tip that broke off is no wear. Both chosen.
SURE2: Final = 9.0
WEAR_TIMES: Final = 2.0
# The remainder that a hole leaves fades within some four holes; its standard deviation is a quarter of the wear of a
# hole before anything was learned, believed like two measurements, and never less than a fiftieth, nor than a step of
# a usual feed axis. All chosen; only how large it is is learned, not how fast it fades.
FADES_HOLES: Final = 4.0
REMAINDER_SHARE: Final = 0.25
REMAINDER_LEAST: Final = 0.02
REMAINDER_WEIGHT: Final = 2.0
STEP_MM: Final = 0.0025


# A young cone grows by up to a third from hole to hole (two of these). One that has been worn by n holes grows by no
# more than an n-th: faster than in proportion to the holes no cone grows, since what is worn off a longer one is spread
# over more of it. Never taken for known to better than the last figure, so that a change of water is followed. Chosen.
CONE_DRIFT: Final = 0.15
LEAST_CONE_DRIFT: Final = 0.02
# A flat end is believed to wear like the worn-in one before it to within half of that. Chosen.
FLAT_SHARE: Final = 0.5
# A much shorter one seen counts for a fiftieth. Chosen so that nearly all holes may hide their cone.
SHORTER_GAIN: Final = 0.02
# Shorter than believed by more than so many times what a hole shows it to, it was hidden; its growth is followed within
# some five holes. Chosen.
HIDDEN: Final = 1.5
GROWTH_SHARE: Final = 0.2
# What is left of that growth from one hidden hole to the next: ten holes' worth in all. Chosen: soundings come sooner.
GROWN_ON: Final = 0.9


class Known(NamedTuple):
    """How well the three states are known: variances and covariances of length (l), wear (w) and remainder (r)."""

    ll: float
    lw: float
    lr: float
    ww: float
    wr: float
    rr: float

    @property
    def tip(self) -> float:
        """Variance of the tip, which is the length without remainders, and the remainder."""
        return self.ll + 2.0 * self.lr + self.rr

    def after(self, holes: float, remainder2: float) -> Known:
        """After so many more holes: P' = F P Fᵀ + Q, F taking the wear off the length and fading the remainder."""
        kept = _kept(holes)
        return Known(
            self.ll - 2.0 * holes * self.lw + holes * holes * self.ww,
            self.lw - holes * self.ww,
            kept * (self.lr - holes * self.wr),
            self.ww,
            kept * self.wr,
            kept * kept * self.rr + remainder2 * (1.0 - kept * kept),
        )

    def told(self, gain: tuple[float, float, float], total: float) -> Known:
        """After a measurement with this gain, its variance and the tip's being `total`: P' = P - K total Kᵀ."""
        length, wear, remainder = gain
        return Known(
            self.ll - length * length * total,
            self.lw - length * wear * total,
            self.lr - length * remainder * total,
            self.ww - wear * wear * total,
            self.wr - wear * remainder * total,
            self.rr - remainder * remainder * total,
        )

    def times(self, factor: float) -> Known:
        """So many times less sure."""
        return Known(*(factor * each for each in self))


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
        "_drift",
        "_end_holes",
        "_holes_since",
        "_known",
        "_length",
        "_remainder",
        "_remainder2",
        "_remainder_known",
        "_wear",
        "cone_mm",
        "cone_u_mm",
        "cones_seen",
        "stock_mm",
        "suspected_mm",
    )

    def __init__(
        self, tip_mm: float, tip_u_mm: float, wear_mm: float, wear_u_mm: float, stock_mm: float, cone_mm: float
    ) -> None:
        # Variance of the remainder, and how well it is known: the information in it, as 1 / its own variance.
        self._remainder2 = max(REMAINDER_SHARE * wear_mm, STEP_MM) ** 2
        self._remainder_known = 0.5 * REMAINDER_WEIGHT / self._remainder2**2
        self._length, self._wear, self._remainder = tip_mm, wear_mm, 0.0
        self._known = Known(tip_u_mm**2, 0.0, 0.0, wear_u_mm**2, 0.0, 0.0)
        self._drift = WEAR_DRIFT
        self._holes_since = 0.0
        self.stock_mm = stock_mm
        # A new rod is flat; how far from flat it soon gets is as uncertain as the whole guess.
        self.cone_mm, self.cone_u_mm = 0.0, cone_mm
        self.cones_seen = 0
        self._cone_growth_mm = 0.0
        self._end_holes = 0.0
        self.suspected_mm = 0.0

    @property
    def tip_mm(self) -> float:
        """Believed tip length."""
        return self._length + self._remainder

    @property
    def tip_u_mm(self) -> float:
        """Standard uncertainty of the tip length."""
        return sqrt(max(self._known.tip, 0.0))

    @property
    def wear_mm(self) -> float:
        """Length that a hole takes, on average."""
        return self._wear

    @property
    def worn_mm(self) -> float:
        """Length believed to have been taken since the last measurement."""
        return self._holes_since * self.wear_mm

    @property
    def drift(self) -> float:
        """How much the average wear changes from hole to hole, as a share of it (one standard deviation).

        As much as was learned; and while the cone of a young end grows, as much as that may.
        """
        return max(self._drift, min(CONE_DRIFT, 0.5 / max(self._end_holes, 1.0)))

    @property
    def remainder_mm(self) -> float:
        """How much longer or shorter than its average a hole leaves the tip (one standard deviation)."""
        return sqrt(self._remainder2)

    @property
    def wear_u_mm(self) -> float:
        """Standard uncertainty of the wear of one more hole: of the average, and of what remains."""
        return sqrt(self._known.ww + self._remainder2 * 2.0 * (1.0 - _kept(1.0)))

    @property
    def belief(self) -> tuple[float, ...]:
        """Everything that is believed, as numbers; `believe` takes it up again."""
        return (
            self._length,
            self._wear,
            self._remainder,
            *self._known,
            self._remainder2,
            self._remainder_known,
            self._drift,
            self._holes_since,
            self.stock_mm,
            self.cone_mm,
            self.cone_u_mm,
            float(self.cones_seen),
            self._end_holes,
        )

    def believe(self, belief: tuple[float, ...]) -> None:
        """Take up what was believed before. Raises ValueError for numbers that are no such belief."""
        if len(belief) != len(self.belief):
            raise ValueError(f"{len(belief)} numbers are no belief about an electrode, which has {len(self.belief)}")
        (
            self._length,
            self._wear,
            self._remainder,
            *known,
            self._remainder2,
            self._remainder_known,
            self._drift,
            self._holes_since,
            self.stock_mm,
            self.cone_mm,
            self.cone_u_mm,
            cones_seen,
            self._end_holes,
        ) = belief
        self._known = Known(*known)
        self.cones_seen = int(cones_seen)

    def drilled(self, share: float) -> None:
        """One hole's wear, or a share of it, was taken from the tip."""
        known = self._known.after(share, self._remainder2)
        self._known = known._replace(ww=known.ww + (share * self.drift * self._wear) ** 2)
        self._length -= share * self._wear
        self._remainder *= _kept(share)
        self._holes_since += share
        self._end_holes += share
        self.stock_mm -= share * self._wear

    def u_after(self, holes: float) -> float:
        """Standard uncertainty of the tip length after so many more holes without a measurement."""
        return sqrt(max(self._known.after(holes, self._remainder2).tip, 0.0))

    def measured(self, tip_mm: float, u_mm: float) -> None:
        """Take in a measured tip length."""
        before_mm = self.tip_mm
        if self._holes_since > 0.0:
            off2 = (tip_mm - before_mm) ** 2
            total = self._known.tip + u_mm**2
            self._learn_remainder(off2, total)
            self._learn_drift(off2 / total)
        self._take(tip_mm, u_mm)
        if self._holes_since > 0.0:
            # Worn off; without a hole since, it only tells how far the rod was clamped out of the holder.
            self.stock_mm += self.tip_mm - before_mm
        self._holes_since = 0.0

    def found_shorter(self, by_mm: float, u_mm: float) -> None:
        """A first spark came later (or sooner, negative) than the believed tip allows: believe it, and measure soon."""
        self._take(self.tip_mm - by_mm, u_mm)
        self.suspected_mm += by_mm

    def _take(self, tip_mm: float, u_mm: float) -> None:
        """Kalman's update. What was too sure of itself is less so first; and no single look changes the wear much."""
        off_mm, wear_mm = tip_mm - self.tip_mm, self._wear
        surprise = off_mm * off_mm / (SURE2 * (self._known.tip + u_mm**2))
        known = self._known.times(surprise) if surprise > 1.0 else self._known
        total = known.tip + u_mm**2
        gain = (known.ll + known.lr) / total, (known.lw + known.wr) / total, (known.lr + known.rr) / total
        self._length += gain[0] * off_mm
        self._wear = min(max(wear_mm + gain[1] * off_mm, wear_mm / WEAR_TIMES), WEAR_TIMES * wear_mm)
        self._remainder += gain[2] * off_mm
        self._known = known.told(gain, total)

    def unsettle(self, u_mm: float) -> None:
        """Hands were on it: where it stands is known no better than this, what was learned of wear stays."""
        self._known_anew(self.tip_mm, u_mm)
        self._holes_since = 0.0

    def renewed(self, tip_mm: float, u_mm: float, stock_mm: float | None = None) -> None:
        """The electrode was pushed down or replaced: the tip is known anew, what was learned of wear stays."""
        self._known_anew(tip_mm, u_mm)
        self._holes_since = 0.0
        if stock_mm is not None:
            self.stock_mm = stock_mm

    def flat_end(self, cone_mm: float) -> None:
        """The end is flat now, as a new rod's: the cone is no more than a guess, and the first holes wear otherwise.

        Where a worn-in end loses length all over, a flat one loses its edge first.
        """
        self.cone_mm, self.cone_u_mm, self.cones_seen = 0.0, cone_mm, 0
        self._cone_growth_mm = self._end_holes = 0.0
        self._known = self._known._replace(ww=self._known.ww + (FLAT_SHARE * self._wear) ** 2)

    def _known_anew(self, tip_mm: float, u_mm: float) -> None:
        """The tip stands there, known so well; nothing is known of a remainder any more but what it usually is."""
        self._length, self._remainder = tip_mm, 0.0
        self._known = Known(u_mm**2, 0.0, 0.0, self._known.ww, 0.0, 0.0)

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

    def _learn_remainder(self, off2: float, total: float) -> None:
        """Move the remainder's variance toward what the surprise says of it: a step of Fisher's scoring.

        A prediction that is off by √`off2`, where √`total` was expected, is told from other reasons by how much of the
        `total` the remainder makes up: where it is little, little is learned.
        """
        part = 1.0 - _kept(self._holes_since) ** 2
        self._remainder_known += 0.5 * (part / total) ** 2
        score = 0.5 * part * (min(off2, SURPRISE_MAX * total) - total) / total**2
        least, most = max(REMAINDER_LEAST * self.wear_mm, STEP_MM) ** 2, self.wear_mm**2
        self._remainder2 = min(max(self._remainder2 + score / self._remainder_known, least), max(most, least))


def _kept(holes: float) -> float:
    """What is left of a remainder after so many holes."""
    return exp(-holes / FADES_HOLES)
