"""Breakthrough on streams of sparks: Poisson counts of craters over the area that each micrometre of feed uncovers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from controller.core.breakthrough import FREE_RUN_UM, Breakthrough

# Sparks a micrometre under the whole front: hole area over crater volume, the invented plant's order of magnitude.
USUAL = 3.0
THICKNESS_UM = 1000.0
STEP_UM = 2.5


@dataclass
class Hole:
    """What a run over a whole hole gave: feeds in µm, None where nothing was called."""

    pierced_um: float | None
    free_from_um: float | None
    ended_um: float | None
    usual: float | None


def drilled(
    rng: np.random.Generator,
    pierce_um: float | None,
    cone_um: float = 700.0,
    flank_share: float = 0.005,
    usual: float | None = USUAL,
    until_um: float = 6000.0,
    unevenness: float = 0.3,
) -> Hole:
    """Feed a hole whose tip pierces at `pierce_um` (None: blind); behind it the front shrinks as a cone's does.

    The rate also wanders by `unevenness` (the servo opens and closes the gap, debris comes and goes), with a
    correlation length of 30 µm; chosen so that a slice's scatter is the 0.35 that the detector allows for.
    """
    through = Breakthrough(THICKNESS_UM, usual)
    wander, ended = 0.0, None
    keep = float(np.exp(-STEP_UM / 30.0))
    for feed_um in np.arange(STEP_UM, until_um, STEP_UM):
        wander = keep * wander + unevenness * float(np.sqrt(1.0 - keep**2) * rng.normal())
        front = 1.0
        if pierce_um is not None and feed_um > pierce_um:
            front = max(1.0 - (feed_um - pierce_um) / cone_um, 0.0) ** 2 * (1.0 - flank_share) + flank_share
        through.progress(float(feed_um), float(rng.poisson(USUAL * STEP_UM * front * np.exp(wander))))
        if through.free_from_um is not None:
            ended = float(feed_um)
            break
    return Hole(through.pierced_um, through.free_from_um, ended, through.usual)


def test_a_through_hole_ends_in_a_free_run_behind_its_cone() -> None:
    """Two hundred holes: each is called done, none before nine tenths of its cone has passed, each soon after it."""
    rng = np.random.default_rng(1)
    ends = [drilled(rng, 1100.0).ended_um for _ in range(200)]
    assert [end for end in ends if end is None] == []
    late = np.array(ends) - (1100.0 + 700.0)
    assert late.min() > -0.1 * 700.0
    assert late.max() < FREE_RUN_UM + 100.0


def test_a_blind_hole_is_never_called_done() -> None:
    """Two hundred holes, blind for five millimetres beyond the thickness: no free run in any (the job's reach)."""
    rng = np.random.default_rng(2)
    assert [hole for hole in (drilled(rng, None) for _ in range(200)) if hole.free_from_um is not None] == []


def test_piercing_is_not_called_while_the_whole_front_erodes() -> None:
    """Up to the wear that the plate costs the rod (two tenths of it) false alarms stay below one hole in twenty."""
    rng = np.random.default_rng(3)
    early = [drilled(rng, None, until_um=1.2 * THICKNESS_UM).pierced_um for _ in range(300)]
    assert sum(1 for at in early if at is not None) < 15


@pytest.mark.parametrize("cone_um", [300.0, 700.0, 1200.0])
def test_piercing_is_dated_within_the_first_half_of_the_cone(cone_um: float) -> None:
    """The CUSUM dates the change: on average within a third of the cone, in 95 % before half of it has passed."""
    rng = np.random.default_rng(4)
    found = [drilled(rng, 1100.0, cone_um=cone_um).pierced_um for _ in range(150)]
    late = np.array([at for at in found if at is not None]) - 1100.0
    assert len(late) == 150
    assert abs(np.mean(late)) < cone_um / 3.0 + 20.0
    assert np.quantile(late, 0.95) < 0.5 * cone_um + 40.0


def test_the_first_hole_learns_the_usual_from_itself() -> None:
    """Without an earlier hole the whole front's sparks a micrometre are found on the way, right within a tenth."""
    rng = np.random.default_rng(5)
    holes = [drilled(rng, 1100.0, usual=None) for _ in range(40)]
    assert float(np.median([hole.usual or 0.0 for hole in holes])) == pytest.approx(USUAL, rel=0.1)
    assert [hole for hole in holes if hole.ended_um is None] == []


def test_a_flat_tube_is_done_at_once() -> None:
    """A front that goes all at once is free at once: most free runs and piercings are dated within two slices of it."""
    rng = np.random.default_rng(6)
    holes = [drilled(rng, 1100.0, cone_um=1.0) for _ in range(40)]
    assert float(np.median([hole.free_from_um or 0.0 for hole in holes])) == pytest.approx(1100.0, abs=45.0)
    assert float(np.median([hole.pierced_um or 0.0 for hole in holes])) == pytest.approx(1100.0, abs=45.0)


def test_a_standstill_is_no_free_run() -> None:
    """Sparks spent without getting deeper count for the next slice: waiting can't make a stretch look free."""
    through = Breakthrough(THICKNESS_UM, USUAL)
    for feed_um in range(0, 2000, 5):
        through.progress(float(feed_um), 15.0)
        for _ in range(20):
            through.progress(float(feed_um), 0.0)
    assert through.free_from_um is None


def test_a_free_run_that_ends_is_forgotten() -> None:
    """Sparks after a stretch without any (a void, a missed drop-out) take the call back."""
    through = Breakthrough(THICKNESS_UM, USUAL)
    for feed_um in range(0, 1200, 5):
        through.progress(float(feed_um), 15.0)
    for feed_um in range(1200, 1600, 5):
        through.progress(float(feed_um), 0.0)
    assert through.free_from_um is not None
    for feed_um in range(1600, 1700, 5):
        through.progress(float(feed_um), 15.0)
    assert through.free_from_um is None


def test_a_stray_spark_late_in_a_free_run_does_not_move_its_beginning() -> None:
    """Sparks beside the rod come in clusters: ten of them, millimetres behind the cone, are no longer cone."""
    through = Breakthrough(THICKNESS_UM, USUAL)
    for feed_um in range(0, 1400, 5):
        through.progress(float(feed_um), 15.0)
    for feed_um in range(1400, 4000, 5):
        through.progress(float(feed_um), 18.0 if feed_um == 3000 else 0.0)
    assert through.free_from_um == pytest.approx(1400.0, abs=40.0)


@pytest.mark.parametrize("thickness_um", [50.0, 100.0, 160.0])
def test_a_sheet_too_thin_to_show_a_whole_front_ends_all_the_same(thickness_um: float) -> None:
    """Thinner than five slices of whole front, the first hole of a run: its costliest slice stands for the usual.

    Two hundred holes, cones as long as the sheet is thick: all called done, none before its cone is nine tenths out.
    """
    rng = np.random.default_rng(8)
    late = []
    for _ in range(200):
        through = Breakthrough(thickness_um, None)
        feed_um = 0.0
        while through.free_from_um is None and feed_um < 3000.0:
            feed_um += STEP_UM
            front = min(max(1.0 - (feed_um - thickness_um) / thickness_um, 0.0), 1.0) ** 2
            through.progress(feed_um, float(rng.poisson(USUAL * STEP_UM * (0.995 * front + 0.005))))
        late.append(feed_um - 2.0 * thickness_um)
    assert min(late) > -0.1 * thickness_um
    assert max(late) < FREE_RUN_UM + 100.0


def test_a_thin_sheet_has_no_usual_before_its_far_face() -> None:
    """What few slices there were may have been the face's: only past the thickness they have to do."""
    through = Breakthrough(100.0, None)
    through.progress(100.0, 300.0)
    assert through.usual is None
    through.progress(120.0, 5.0)
    assert through.usual == pytest.approx(300.0 / 20.0)


def test_a_thin_sheet_that_never_sparked_is_not_called_through() -> None:
    """No sparks at all are no free run: nothing shows that the source is alive."""
    through = Breakthrough(100.0, None)
    for feed_um in range(0, 3000, 5):
        through.progress(float(feed_um), 0.0)
    assert (through.usual, through.free_from_um) == (None, None)
