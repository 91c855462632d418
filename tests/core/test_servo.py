"""The servo: forward by what the gap shows, and a reference that finds the best rate."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.gap import GapFilter
from controller.core.permissions import SERVO_SPEED_UM_S
from controller.core.servo import Reference, Servo
from controller.settings.machine import DropOuts, Sampler

TICK_S = 0.01
RATE_HZ = 80.0  # of a source that pauses for some 6 ms (1–10 ms, electrics.md)
FRONT_UM_S = 40.0  # what a usual 10 A source makes of a 1.2 mm rod; chosen


def showing(high_share: float) -> GapFilter:
    gap = GapFilter(Sampler(), DropOuts(), TICK_S)
    gap.high_share, gap.spark_rate_hz = high_share, RATE_HZ
    return gap


def test_a_long_low_stops_the_feed() -> None:
    """What may be a short is not fed into, however open the gap looked before."""
    assert Servo(TICK_S, FRONT_UM_S).feed_um(showing(1.0), 0, long_low=True) == 0.0


def test_a_crowded_gap_stops_the_feed() -> None:
    """Below the reference less than the sparks take, far below none: erosion opens the gap, never backing off."""
    servo = Servo(TICK_S, FRONT_UM_S)
    taken_um = servo.worth.at(0.0) * RATE_HZ * TICK_S
    assert servo.feed_um(showing(servo.reference.now), 1, long_low=False) == pytest.approx(taken_um)
    assert servo.feed_um(showing(servo.reference.now - 0.1), 1, long_low=False) < taken_um
    assert servo.feed_um(showing(0.0), 1, long_low=False) == 0.0


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.integers(0, 3), st.booleans()), max_size=400))
def test_the_feed_stays_within_its_limits(seen: list[tuple[float, int, bool]]) -> None:
    """Never back, never faster than the servo may."""
    servo = Servo(TICK_S, FRONT_UM_S)
    feeds = [servo.feed_um(showing(share), sparks, long_low=low) for share, sparks, low in seen]
    assert all(0.0 <= feed <= SERVO_SPEED_UM_S * TICK_S + 1e-9 for feed in feeds)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_the_wider_the_gap_the_faster_the_feed(one: float, other: float) -> None:
    """More time at high level never means less feed."""
    low, high = sorted((one, other))
    assert Servo(TICK_S, FRONT_UM_S).feed_um(showing(low), 0, long_low=False) <= Servo(TICK_S, FRONT_UM_S).feed_um(
        showing(high), 0, long_low=False
    )


def test_the_feed_grows_with_what_was_free_and_falls_with_the_first_spark() -> None:
    """Fed through half a millimetre without a spark the feed has grown many times over; one spark ends that."""
    servo, way_um = Servo(TICK_S, FRONT_UM_S), 0.0
    first = servo.feed_um(showing(1.0), 0, long_low=False)
    while way_um < 500.0:
        feed = servo.feed_um(showing(1.0), 0, long_low=False)
        way_um += feed
    assert feed > 4.0 * first
    assert servo.feed_um(showing(1.0), 1, long_low=False) == pytest.approx(first)


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), max_size=600))
def test_the_feed_is_limited_by_the_distance_met_by_no_spark(seen: list[tuple[float, bool]]) -> None:
    """Half as fast again as the front, and beyond it no more than twice a second through what is known to be free.

    A share far above the reference tells a wide gap and earns something, too.
    """
    servo, quiet_um = Servo(TICK_S, FRONT_UM_S), 0.0
    for share, sparked in seen:
        quiet_um = 0.0 if sparked else quiet_um
        feed = servo.feed_um(showing(share), int(sparked), long_low=False)
        far_um_s = servo.MOST_GAIN_UM_S * max(share - servo.reference.now - servo.FAR, 0.0)
        most_um_s = 1.5 * servo.front_um_s + 2.0 * quiet_um + far_um_s
        assert feed <= min(most_um_s, SERVO_SPEED_UM_S) * TICK_S + 1e-9
        quiet_um += feed


def test_an_open_gap_is_fed_through_at_the_limit_in_the_end() -> None:
    """Behind the plate the feed grows to the servo's full speed, after the third of a millimetre that earns it."""
    servo, way_um, fast_from_um = Servo(TICK_S, FRONT_UM_S), 0.0, 0.0
    for _ in range(400):
        feed = servo.feed_um(showing(1.0), 0, long_low=False)
        if feed < SERVO_SPEED_UM_S * TICK_S - 1e-9:
            fast_from_um = way_um
        way_um += feed
    assert feed == pytest.approx(SERVO_SPEED_UM_S * TICK_S)
    # No sooner than twice a second through what is free comes to that speed, and not much later.
    far_um_s = servo.MOST_GAIN_UM_S * (1.0 - servo.reference.now - servo.FAR)
    earned_um = (SERVO_SPEED_UM_S - servo.TIMES_FRONT * servo.front_um_s - far_um_s) / servo.QUIET_PER_S
    assert earned_um - 10.0 < fast_from_um < 2.0 * earned_um


def test_a_new_start_knows_of_no_free_way() -> None:
    """After an approach the front is near: what was free before counts for nothing."""
    servo = Servo(TICK_S, FRONT_UM_S)
    first = servo.feed_um(showing(1.0), 0, long_low=False)
    for _ in range(200):
        servo.feed_um(showing(1.0), 0, long_low=False)
    servo.start()
    assert servo.feed_um(showing(1.0), 0, long_low=False) == pytest.approx(first)


def test_a_long_low_earns_no_free_way() -> None:
    """Time spent waiting for a low to end is no distance: the feed afterwards is what it was before."""
    servo, other = Servo(TICK_S, FRONT_UM_S), Servo(TICK_S, FRONT_UM_S)
    for each in (servo, other):
        each.feed_um(showing(1.0), 0, long_low=False)
    for _ in range(100):
        servo.feed_um(showing(1.0), 0, long_low=True)
    assert servo.feed_um(showing(1.0), 0, long_low=False) == other.feed_um(showing(1.0), 0, long_low=False)


@pytest.mark.parametrize("foretold", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("front_um_s", [4.0, 40.0, 80.0])
def test_the_loop_settles_on_a_front_that_recedes(front_um_s: float, foretold: float) -> None:
    """Closed over a receding front the share settles on its reference without the gap ever closing.

    As fast as foretold or not: the front is so fast when sparking all the time, 130 sparks a second; the high share
    rises linearly from 0 at no gap to 1 at 50 µm (middle of the usual 10–100 µm, references §3), told with the filter's
    own lag of 0.12 s.
    """
    servo, gap_um, gap = Servo(TICK_S, front_um_s * foretold), 50.0, showing(1.0)
    tip_um = deepest_um = due = 0.0
    gaps, off = [], []
    for _ in range(12_000):
        share = min(max(gap_um / 50.0, 0.0), 1.0)
        lag = 1.0 - exp(-TICK_S / 0.12)
        gap.high_share += lag * (share - gap.high_share)
        due += 130.0 * (1.0 - share) * TICK_S
        sparks = int(due)
        due -= sparks
        gap.spark_rate_hz += lag * (sparks / TICK_S - gap.spark_rate_hz)
        fed_um = servo.feed_um(gap, sparks, long_low=False)
        tip_um += fed_um
        servo.gained(deepest_um, max(tip_um - deepest_um, 0.0), sparks, gap.spark_rate_hz, whole_front=True)
        deepest_um = max(deepest_um, tip_um)
        gap_um += front_um_s * sparks / 130.0 - fed_um
        gaps.append(gap_um)
        off.append(share - servo.reference.now)
    assert min(gaps) > 3.0
    assert float(np.mean(off[-2000:])) == pytest.approx(0.0, abs=0.03)
    assert max(gaps[-500:]) - min(gaps[-500:]) < 5.0
    assert servo.worth.at(deepest_um) == pytest.approx(front_um_s / 130.0, rel=0.1)


def test_play_that_was_not_known_is_fed_through_at_a_slow_front() -> None:
    """After a retreat over more play than believed the gap stands 36 µm wider than it seems: closed within two seconds.

    The front is slow (3 µm/s, 30 sparks a second in the wide gap): at its own speed that would take a quarter of a
    minute, after each retreat.
    """
    servo, gap = Servo(TICK_S, 3.0), showing(0.85)
    gap.spark_rate_hz = 30.0
    for _ in range(1000):
        servo.gained(500.0, 0.001, 1, 30.0, whole_front=True)
    assert sum(servo.feed_um(gap, 1, long_low=False) for _ in range(200)) > 36.0


def test_the_way_back_to_the_front_is_quick_however_slow_the_front() -> None:
    """Forty micrometres behind where it was deepest, all of them known to be free: 25 of them within half a second."""
    servo, behind_um = Servo(TICK_S, 3.0), 40.0
    for _ in range(50):
        behind_um -= servo.feed_um(showing(servo.reference.now + 0.1), 1, long_low=False, behind_um=behind_um)
    assert behind_um < 15.0


@pytest.mark.parametrize("best", [0.2, 0.45, 0.7])
def test_the_reference_climbs_to_the_best_rate(best: float) -> None:
    """On a rate with one maximum the centre ends within two trials' width of it, from one common start."""
    reference, depth_um = Reference(), 0.0
    for tick in range(int(1200 / 0.1)):
        depth_um += 0.1 * max(25.0 * (1.0 - 4.0 * (reference.now - best) ** 2), 0.0)
        reference.follow(tick * 0.1, depth_um)
    assert reference.centre == pytest.approx(best, abs=2.0 * Reference.TRIAL)


def found(best: float, noise: float, seed: int, drift: float = 0.0) -> float:
    """Where the reference is after twenty holes of a minute each, on a rate with one maximum at `best`.

    25 µm/s there and falling off as a parabola; each trial's gain scattered by a relative `noise`, the rate as a whole
    changing by `drift` of itself from the beginning of a hole to its end.
    """
    reference, depth_um, rng = Reference(), 0.0, np.random.default_rng(seed)
    step_s, hole = 0.1, 600
    spread = noise * (Reference.TRIAL_S / step_s) ** 0.5
    for tick in range(20 * hole):
        if tick % hole == 0:
            reference.interrupt()
        rate = max(25.0 * (1.0 - 4.0 * (reference.now - best) ** 2), 0.0) * (1.0 + drift * (tick % hole) / hole)
        depth_um += step_s * rate * (1.0 + spread * float(rng.normal()))
        reference.follow(tick * step_s, depth_um)
    return reference.centre


@pytest.mark.parametrize("best", [0.05, 0.6])
def test_the_search_finds_the_better_side_through_noise(best: float) -> None:
    """Trials scattered by a tenth (some hundred sparks each): twenty searches of twenty minutes each.

    Nearly all end nearer to the best than they began, half of them within two trials' width of it.
    """
    ends = np.array([found(best, 0.1, seed) for seed in range(20)])
    off, at_first = np.abs(ends - best), abs(Reference.START - best)
    assert int(np.sum(off < at_first)) >= 18
    assert float(np.median(off)) < 2.0 * Reference.TRIAL


def test_noise_alone_does_not_carry_the_reference_away() -> None:
    """Begun at the best reference, searches through noise stay there: none is off by more than four trials' width."""
    ends = [found(Reference.START, 0.1, seed) for seed in range(20)]
    assert max(abs(end - Reference.START) for end in ends) < 4.0 * Reference.TRIAL


@pytest.mark.parametrize("drift", [-0.8, 3.0])
def test_a_slow_drift_of_the_rate_favours_neither_side(drift: float) -> None:
    """Every hole slows down (or speeds up) several times over: no reason to go either way, as the order turns."""
    assert found(Reference.START, 0.0, 0, drift=drift) == pytest.approx(Reference.START, abs=0.5 * Reference.TRIAL)


def test_time_lost_to_shorts_moves_the_reference_outward() -> None:
    """The more is lost, the further; one short never by more than a trial's width."""
    moved = []
    for lost_s in (0.1, 0.5, 100.0):
        reference = Reference()
        reference.lost(lost_s)
        moved.append(reference.centre - Reference.START)
    assert 0.0 < moved[0] < moved[1] < moved[2] <= 3.0 * Reference.TRIAL


def test_time_away_from_the_front_is_no_time_of_a_trial() -> None:
    """A trial during which the tip was away for ten seconds is judged by its erosion alone."""
    plain, away = Reference(), Reference()
    for tick in range(4000):
        depth_um = 0.1 * tick
        plain.follow(0.01 * tick, depth_um)
        away.follow(0.01 * tick + (10.0 if tick > 600 else 0.0), depth_um)
    assert away.centre == pytest.approx(plain.centre, abs=1e-3)


@given(st.lists(st.floats(0.0, 100.0), min_size=1, max_size=300))
def test_the_reference_never_leaves_its_bounds(gains: list[float]) -> None:
    """Whatever is gained when, the centre stays where neither end can stop the feed for good."""
    reference, depth_um = Reference(), 0.0
    for number, gain in enumerate(gains):
        depth_um += gain
        reference.follow(number * 1.0, depth_um)
        assert Reference.LEAST <= reference.centre <= Reference.MOST


def test_an_interrupted_trial_is_not_judged() -> None:
    """A jump of the depth across an interruption (another hole) counts for neither side."""
    reference = Reference()
    for tick in range(1000):
        if tick % 10 == 0:
            reference.interrupt()
        reference.follow(tick * 0.1, float(tick % 10) * 1000.0)
    assert reference.centre == Reference.START
