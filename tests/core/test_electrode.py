"""The belief about the electrode: a Kalman filter, and honest about what it does not know."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from controller.core.electrode import FADES_HOLES, Electrode


def rod(wear_mm: float = 0.12, wear_u_mm: float = 0.06) -> Electrode:
    return Electrode(45.0, 2.0, wear_mm, wear_u_mm, 150.0, 0.9)


def test_the_filter_is_the_textbook_one() -> None:
    """Prediction and update agree with x = Fx, P = FPF' + Q and K = PH'/(HPH' + R) in matrices, step by step.

    Reference: the linear Kalman filter as in any textbook; state length without remainder, wear a hole, remainder.
    """
    rng = np.random.default_rng(11)
    electrode = rod()
    x, p = np.array([45.0, 0.12, 0.0]), np.diag([4.0, 0.06**2, 0.0])
    h = np.array([[1.0, 0.0, 1.0]])
    for step in range(40):
        if step % 4 < 3:
            share = float(rng.choice([1.0, 1.0, 0.4]))
            kept = exp(-share / FADES_HOLES)
            f = np.array([[1.0, -share, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, kept]])
            fades = electrode.remainder_mm**2 * (1.0 - kept**2)
            q = np.diag([0.0, (share * electrode.drift * x[1]) ** 2, fades])
            x, p = f @ x, f @ p @ f.T + q
            electrode.drilled(share)
        else:
            found = float(x[0] + x[2] + rng.normal(0.0, 0.02))
            gain = p @ h.T / (h @ p @ h.T + 0.008**2)
            x, p = x + gain[:, 0] * (found - x[0] - x[2]), (np.eye(3) - gain @ h) @ p
            electrode.measured(found, 0.008)
        assert (electrode.tip_mm, electrode.wear_mm) == pytest.approx((x[0] + x[2], x[1]), rel=1e-9)
        assert electrode.tip_u_mm == pytest.approx(float(np.sqrt(h @ p @ h.T)[0, 0]), rel=1e-6)


def test_wear_is_believed_to_drift_as_much_as_the_measurements_show() -> None:
    """Predictions far off raise the drift, predictions that are always right lower it; both stay within bounds."""
    surprised, confirmed = rod(), rod()
    for electrode, off_mm in ((surprised, 0.2), (confirmed, 0.0)):
        for _ in range(20):  # worn in: a young end drifts by itself
            electrode.drilled(1.0)
        electrode.measured(44.0, 0.007)
        before = electrode.drift
        for turn in range(30):
            for _ in range(3):
                electrode.drilled(1.0)
            # Now more, now less: a steady difference would be learned as wear.
            electrode.measured(electrode.tip_mm - off_mm * (-1.0) ** turn, 0.007)
        assert (electrode.drift > before) == (off_mm > 0.0)
        assert 0.005 <= electrode.drift <= 0.1


def test_a_flat_end_is_trusted_less_until_it_has_made_some_holes() -> None:
    """A new rod's first holes may take half or half as much again; the one before it was known to a few per cent."""
    electrode = rod()
    electrode.measured(45.0, 0.007)
    for _ in range(60):
        electrode.drilled(1.0)
        electrode.measured(electrode.tip_mm, 0.007)
    worn_in_u_mm = electrode.u_after(1.0)
    electrode.renewed(48.0, 0.007)
    electrode.flat_end(0.9)
    electrode.measured(48.0, 0.007)
    assert electrode.u_after(1.0) > 0.5 * electrode.wear_mm > 2.0 * worn_in_u_mm
    drifts = []
    for _ in range(20):
        electrode.drilled(1.0)
        drifts.append(electrode.drift)
    assert drifts[0] == 0.15
    assert drifts == sorted(drifts, reverse=True)
    assert drifts[-1] < 0.03


def test_looking_ahead_is_what_drilling_will_say() -> None:
    """The uncertainty foretold for one more hole is the one had after it."""
    electrode = rod()
    electrode.measured(44.2, 0.007)
    foretold = electrode.u_after(1.0)
    electrode.drilled(1.0)
    assert electrode.tip_u_mm == pytest.approx(foretold)


def coverage(scatter_mm: float, drift_mm: float, every: int, fades: float = 0.0) -> tuple[float, float]:
    """Share of holes at whose start the true tip lies within ± 2 u, and the mean u, over simulated rods.

    Invented rods: true wear 0.10 to 0.20 a hole where 0.12 ± 0.06 is guessed, scatter from hole to hole, and a drift
    of the wear itself that all holes share (dirtier water, a sharper cone). With `fades` a hole that was worn more is
    made up for by those after it: so much of what remains is left after each.
    """
    rng = np.random.default_rng(5)
    inside, us = [], []
    for _ in range(30):
        electrode = rod()
        left = 0.0
        tip, wear = 45.0 + rng.normal(0.0, 1.5), rng.uniform(0.10, 0.20)
        electrode.measured(tip + rng.normal(0.0, 0.007), 0.007)
        for hole in range(1, 61):
            more = rng.normal(0.0, scatter_mm)
            worn = max(
                wear + drift_mm * hole + more - (1.0 - fades) * left if fades else wear + drift_mm * hole + more, 0
            )
            left = fades * left + more
            tip -= worn
            electrode.drilled(1.0)
            inside.append(abs(electrode.tip_mm - tip) <= 2.0 * electrode.tip_u_mm)
            us.append(electrode.tip_u_mm)
            if hole % every == 0:
                electrode.measured(tip + rng.normal(0.0, 0.007), 0.007)
    return float(np.mean(inside)), float(np.mean(us))


@pytest.mark.parametrize(("scatter_mm", "drift_mm"), [(0.01, 0.0), (0.03, 0.0), (0.01, 0.0005), (0.03, 0.001)])
@pytest.mark.parametrize("every", [1, 4])
def test_the_true_tip_lies_within_two_uncertainties(scatter_mm: float, drift_mm: float, every: int) -> None:
    """On wear with scatter and with a common drift, ± 2 u holds the truth in 90 to 99 % of holes (the job's reach)."""
    share, _ = coverage(scatter_mm, drift_mm, every)
    assert 0.90 <= share <= 0.995


@pytest.mark.parametrize("every", [2, 8, 20])
def test_what_a_hole_leaves_on_the_tip_is_known_between_rare_measurements(every: int) -> None:
    """With remainders that fade within some holes, ± 2 u holds the truth right after a measurement and long after."""
    share, _ = coverage(0.03, 0.0, every, fades=0.8)
    assert 0.90 <= share <= 0.995


def test_the_wear_is_learned_from_measurements() -> None:
    """After ten measured holes the wear is known to a few hundredths of its guess's uncertainty, and right."""
    electrode = rod()
    electrode.measured(45.0, 0.007)
    for hole in range(1, 21):
        electrode.drilled(1.0)
        if hole % 2 == 0:
            electrode.measured(45.0 - 0.17 * hole, 0.007)
    assert electrode.wear_mm == pytest.approx(0.17, abs=0.01)
    assert electrode.wear_u_mm < 0.03


def test_the_scatter_is_learned_from_surprises() -> None:
    """A rod that wears evenly lets the uncertainty of the next hole fall; one that does not keeps it up."""
    rng = np.random.default_rng(2)
    even, uneven = rod(), rod()
    tips = {id(even): 45.0, id(uneven): 45.0}
    for electrode, scatter in ((even, 0.0), (uneven, 0.05)):
        electrode.measured(45.0, 0.007)
        for _ in range(40):
            tips[id(electrode)] -= 0.12 + float(rng.normal(0.0, scatter))
            electrode.drilled(1.0)
            electrode.measured(tips[id(electrode)], 0.007)
    assert even.wear_u_mm < 0.015
    assert uneven.wear_u_mm == pytest.approx(0.05, rel=0.4)


def test_the_stock_shrinks_by_wear_and_not_by_clamping() -> None:
    """How far the rod stands out says nothing of how much of it is left; what was worn off does."""
    electrode = rod()
    electrode.measured(43.0, 0.007)
    assert electrode.stock_mm == 150.0
    electrode.drilled(1.0)
    electrode.measured(42.8, 0.007)
    assert electrode.stock_mm == pytest.approx(149.8, abs=0.01)
    electrode.renewed(45.0, 2.0)
    electrode.measured(46.0, 0.007)
    assert electrode.stock_mm == pytest.approx(149.8, abs=0.01)


def test_a_renewed_electrode_keeps_what_was_learned_of_wear() -> None:
    """After an advance the tip is unknown again; the wear a hole is not."""
    electrode = rod()
    electrode.measured(45.0, 0.007)
    electrode.drilled(1.0)
    electrode.measured(44.85, 0.007)
    wear = electrode.wear_mm
    electrode.renewed(45.0, 2.0, stock_mm=150.0)
    assert (electrode.tip_mm, electrode.tip_u_mm, electrode.wear_mm) == (45.0, 2.0, wear)
    assert electrode.stock_mm == 150.0


def test_the_cone_is_learned_from_what_holes_show() -> None:
    """Cones of one length, seen again and again, are believed, and the doubt of the guess is gone."""
    electrode = rod()
    for _ in range(10):
        electrode.cone_seen(0.7, 0.1)
    assert electrode.cone_mm == pytest.approx(0.7, abs=0.05)
    assert electrode.cone_u_mm < 0.1


def test_a_cone_out_of_sight_is_believed_to_grow_on() -> None:
    """Seen to grow by a tenth of a millimetre in each of ten holes, then hidden: four more, as if it were in sight."""
    electrode = rod()
    for hole in range(1, 11):
        electrode.cone_seen(0.1 * hole + 1.0, 0.1)
    for _ in range(4):
        electrode.cone_seen(0.3, 0.1)
    assert electrode.cone_mm == pytest.approx(2.4, abs=0.25)


def test_a_cone_is_not_believed_to_grow_for_ever_because_holes_show_none() -> None:
    """Twelve hidden holes, and sixty: the belief has come to rest, within ten holes' worth of growth."""
    electrode, after = rod(), dict[int, float]()
    for hole in range(1, 11):
        electrode.cone_seen(0.1 * hole + 1.0, 0.1)
    for hidden in range(1, 61):
        electrode.cone_seen(0.3, 0.1)
        after[hidden] = electrode.cone_mm
    assert max(after.values()) < 2.0 + 10.0 * 0.1 + 0.1
    assert after[60] <= after[12] + 0.4


def test_an_old_cone_is_not_doubted_for_a_hole_that_hid_it() -> None:
    """After forty holes a cone grows by no more than a fortieth a hole: one that shows less takes nothing away."""
    electrode = rod()
    for _ in range(40):
        electrode.cone_seen(2.0, 0.1)
    electrode.cone_seen(0.4, 0.1)
    assert electrode.cone_mm == pytest.approx(2.0, abs=0.1)
    assert 2.0 * electrode.cone_u_mm < 0.3
