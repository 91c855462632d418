"""What counts as lost to a drop-out: told tick by tick, in a made-up truth."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from controller.core.events import HoleStarted
from controller.core.observation import BoardState, Observation
from tests.benchmarks.drop_outs import DropOutWatch, Loss

TICK_S = 0.01
SEEN = Observation(0.0, [], 0.0, False, True, False, True, True, 0.0, 0.0, 0.0, 0, BoardState.READY, True)
STATES = {"open": (TICK_S, 0, 0, 0), "spark": (0, TICK_S, 0, 0), "short": (0, 0, TICK_S, 0), "away": (0, 0, 0, TICK_S)}


@dataclass
class Gap:
    """The part of the erosion that is looked at."""

    sparks: int = 0
    in_contact: bool = False
    bridged: bool = False


@dataclass
class Truth:
    """A truth that is told what it is."""

    live: bool = True
    shares_s: tuple[float, float, float, float] = (0, 0, 0, 0)
    erosion: Gap = field(default_factory=Gap)


def told(*ticks: tuple[str, float]) -> Loss:
    """The loss after these ticks, each what the gap is (`out`: contact open) and where the axis stands (um)."""
    truth = Truth()
    ledger: Any = truth
    watch = DropOutWatch(ledger, TICK_S)
    watch.look(SEEN, [HoleStarted(0.0, 1, 0.0, 0.0, 0.0, 0.0)])
    for state, z_um in [("spark", 0.0), *ticks]:
        truth.live = state != "out"
        truth.shares_s = STATES.get(state, (0, 0, 0, 0))
        truth.erosion.sparks += state == "spark"
        truth.erosion.in_contact = state == "short"
        watch.look(replace(SEEN, z_um=z_um), ())
    return watch.loss


def test_a_drop_out_that_is_ridden_out_costs_nothing() -> None:
    """The source was away; the tip stayed and sparked at once."""
    loss = told(("away", 0.0), ("away", 0.0), ("open", 0.0), ("spark", 0.0), ("open", -2.5))
    assert (loss.lost_s, loss.held_s, loss.lows, loss.lifts) == (0.0, 0.0, 1, 0)
    assert loss.away_s == pytest.approx(2 * TICK_S)
    assert loss.erode_s == pytest.approx(6 * TICK_S)


def test_a_lift_costs_the_open_time_until_the_axis_is_back() -> None:
    """Time away is the source's; what counts is the way back once it is there again."""
    lifting = [("away", 40.0), ("away", 80.0), ("open", 80.0), ("open", 60.0), ("open", 30.0), ("open", 2.0)]
    loss = told(("away", 0.0), *lifting, ("open", 0.0), ("open", -2.5))
    assert loss.lost_s == pytest.approx(4 * TICK_S)
    assert loss.lifts == 1


def test_a_lift_shortly_after_the_return_counts_though_it_sparked_between() -> None:
    """The controller sees a low late."""
    loss = told(("away", 0.0), ("spark", 0.0), ("open", 40.0), ("open", 20.0), ("open", 0.0))
    assert loss.lost_s == pytest.approx(3 * TICK_S)


def test_the_way_out_of_the_hole_counts_while_the_contact_is_open() -> None:
    """A ladder climbed for a drop-out is paid in full."""
    loss = told(("away", 0.0), ("away", 500.0), ("out", 500.0), ("out", 500.0), ("open", 400.0), ("spark", 0.0))
    assert loss.lost_s == pytest.approx(3 * TICK_S)


def test_lows_of_a_true_short_are_none_of_ours() -> None:
    """A short that the source drops out over, and a short that comes in a drop-out."""
    assert told(("short", 0.0), ("away", 40.0), ("open", 40.0), ("open", 0.0)).lost_s == 0.0
    assert told(("away", 0.0), ("short", 40.0), ("open", 40.0), ("open", 0.0)).lost_s == 0.0


def test_holding_over_an_open_gap_is_lost_too() -> None:
    """Eight ticks without a forward step though nothing sparks; a prompt step costs nothing."""
    assert told(("away", 0.0), *[("open", 0.0)] * 8, ("open", -2.5)).held_s == pytest.approx(9 * TICK_S)
    assert told(("away", 0.0), *[("open", 0.0)] * 3, ("open", -2.5)).held_s == 0.0


def test_a_lift_long_after_a_ridden_out_drop_out_has_other_reasons() -> None:
    """It sparked for a fifth of a second before."""
    assert told(("away", 0.0), *[("spark", 0.0)] * 20, ("open", 40.0), ("open", 0.0)).lost_s == 0.0
