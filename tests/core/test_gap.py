"""The gap filter on synthetic signals: what it tells, how soon, and what it learns."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import lomax

from controller.core.gap import GapFilter, GapState
from controller.core.laws import PauseLaw, ShortLaw
from controller.core.window import SPARK_PAUSE_MAX_MS, WindowReader
from controller.settings.machine import DropOuts, Sampler
from tests.core.signals import Heard, Stretch, heard, job, log_normal_ms

OPEN, SPARKING, SHORTED, OFF = GapState.OPEN, GapState.SPARKING, GapState.SHORTED, GapState.OFF
FRONT_ENDS = ("clamp", "divider", "biased")
BURNING = Sampler(front_end="divider")


# -- reading -------------------------------------------------------------------------------------------------------


def test_sparks_are_low_runs_no_longer_than_a_spark_pause() -> None:
    """A low of up to 13 ms counts as one spark when it ends, across ticks too; a longer one as a long low."""
    reader = WindowReader(Sampler())
    high, low = 614, 5
    assert reader.read([high] * 3 + [low] * 5 + [high] * 2).sparks == 1
    assert reader.read([high] * 5 + [low] * 5).sparks == 0
    assert reader.read([low] * 3 + [high] * 7).sparks == 1
    assert reader.read([low] * 10).low_ms == 10
    window = reader.read([low] * 10)
    assert (window.sparks, window.low_ms) == (0, 20)
    window = reader.read([high] * 10)
    assert (window.sparks, window.ended_ms, window.low_ms) == (0, 20, 0)


@pytest.mark.parametrize("gap_v", [15.0, 22.5, 30.0])
def test_a_burning_voltage_is_neither_open_nor_short(gap_v: float) -> None:
    """The divider tells 22.5 ± 7.5 V from both open and short.

    Burning voltage 22.5 V: Proc. IMechE B 2015, 10.1177/0954405415598942; 20 to 30 V is the usual range (memory).
    """
    count = round(gap_v * 4.5 / 64.0 / 5.0 * 1023)
    window = WindowReader(BURNING).read([count] * 10)
    assert (window.burning, window.lows) == (10, 0)


def test_a_tick_without_samples_changes_nothing() -> None:
    """A stream that stutters is no evidence of anything."""
    sampler = Sampler()
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    gap.update(reader.read([614] * 4 + [5] * 3 + [614] * 3), 0.0, 0.01)
    before = (gap.state, gap.p_open, gap.p_sparking)
    gap.update(reader.read([]), 0.0, 0.01)
    assert (gap.state, gap.p_open, gap.p_sparking) == before


# -- telling -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [10.0, 60.0, 120.0])
@pytest.mark.parametrize(("front_end", "least"), [("clamp", 0.96), ("divider", 0.96), ("biased", 0.975)])
def test_the_state_is_right_nearly_all_the_time(front_end: str, least: float, rate_hz: float) -> None:
    """Sparks at a rate, drop-outs of 10 to 400 ms, shorts: the share of time told right, the tip never lifted."""
    assert heard(job(np.random.default_rng(7), 60.0, rate_hz), front_end).share() >= least


@pytest.mark.parametrize(
    ("front_end", "least"),
    [
        # Without a lift a clamp and a divider know a short by its length alone: of half a second, a third has passed.
        ("clamp", {OPEN: 0.95, SPARKING: 0.98, SHORTED: 0.6, OFF: 0.78}),
        ("divider", {OPEN: 0.95, SPARKING: 0.98, SHORTED: 0.6, OFF: 0.78}),
        ("biased", {OPEN: 0.95, SPARKING: 0.98, SHORTED: 0.88, OFF: 0.86}),
    ],
)
def test_no_state_is_told_at_the_cost_of_another(front_end: str, least: dict[GapState, float]) -> None:
    """Sparking fills nine tenths of the time, so each state's own time is asked for too."""
    told = heard(job(np.random.default_rng(7), 240.0, 10.0), front_end)
    assert {state: told.share((state,)) for state in least if told.share((state,)) < least[state]} == {}


@pytest.mark.parametrize("front_end", FRONT_ENDS)
def test_probabilities_stay_probabilities(front_end: str) -> None:
    """Every tick they are 0 to 1 and sum to 1."""
    sampler = Sampler.model_validate({"front_end": front_end})
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    rng = np.random.default_rng(3)
    for _ in range(3000):
        count = int(rng.choice([0, 1, 10, 25]))
        low = rng.random() < 0.5
        samples = [int(sample) for sample in rng.integers(0, 40 if low else 1024, count)]
        gap.update(reader.read(samples), float(rng.choice([0.0, 50.0])), 0.01)
        shares = (gap.p_open, gap.p_sparking, gap.p_shorted, gap.p_off)
        assert min(shares) >= 0.0
        assert sum(shares) == pytest.approx(1.0)


def short_called_after_ms(front_end: str, fingerprint: DropOuts) -> int:
    """From metal contact to the first tick that says so."""
    told = heard([Stretch(SPARKING, 3000, 60.0), Stretch(SHORTED, 2000)], front_end, fingerprint=fingerprint)
    return (told.ticks(SHORTED)[0] - 300) * 10


def test_a_biased_front_end_tells_metal_at_once() -> None:
    """Metal below 0.1 V is no drop-out (electrics.md): called within a tick or two after the longest spark pause."""
    assert short_called_after_ms("biased", DropOuts()) <= SPARK_PAUSE_MAX_MS + 20


@pytest.mark.parametrize("front_end", ["clamp", "divider"])
def test_a_source_that_drops_out_often_earns_patience(front_end: str) -> None:
    """The more and the longer drop-outs the fingerprint shows, the later a low is called a short; but it is called."""
    delays = [
        short_called_after_ms(front_end, DropOuts(rate_hz=rate_hz, median_s=median_s, longest_s=0.4))
        for rate_hz, median_s in ((0.01, 0.06), (0.3, 0.06), (2.0, 0.12))
    ]
    assert delays == sorted(delays)
    assert delays[0] <= 30
    assert 60 <= delays[1] <= 150
    assert 250 <= delays[2] <= 600


@pytest.mark.parametrize("front_end", ["clamp", "divider"])
def test_drop_outs_are_ridden_out_when_they_are_known_to_be_frequent(front_end: str) -> None:
    """With the right fingerprint most drop-outs of a bad source (two a second) pass without being called a short."""
    rng = np.random.default_rng(5)
    stretches = []
    for _ in range(60):
        stretches += [Stretch(SPARKING, 500, 60.0), Stretch(OFF, log_normal_ms(rng, 0.06, 0.7, 20, 400))]
    told = heard(stretches, front_end, fingerprint=DropOuts(rate_hz=2.0, median_s=0.06, longest_s=0.4))
    assert called(told) <= 3


def called(told: Heard) -> int:
    """How often a short was begun to be told."""
    shorted = [said is SHORTED for said in told.said]
    return sum(1 for before, now in zip([False, *shorted], shorted, strict=False) if now and not before)


def test_a_lift_tells_a_short_from_a_drop_out() -> None:
    """A low that outlasts a lift of several gaps is a drop-out, or a weld: the belief turns."""
    sampler = Sampler()
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    for _ in range(15):
        gap.update(reader.read([5] * 10), 0.0, 0.01)
    before = gap.p_shorted
    for _ in range(5):
        gap.update(reader.read([5] * 10), 80.0, 0.01)
    assert before > 0.5
    assert gap.p_shorted < 0.5


# -- learning ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("front_end", FRONT_ENDS)
@pytest.mark.parametrize(("true_hz", "median_s"), [(0.35, 0.06), (1.5, 0.1)])
def test_rates_and_durations_are_learned(front_end: str, true_hz: float, median_s: float) -> None:
    """Five minutes of a source unlike its fingerprint: rate and median of drop-outs are found within a third."""
    rng = np.random.default_rng(9)
    stretches = []
    for _ in range(int(300 * true_hz)):
        stretches.append(Stretch(SPARKING, max(int(1000 * rng.exponential(1.0 / true_hz)), 20), 60.0))
        stretches.append(Stretch(OFF, log_normal_ms(rng, median_s, 0.6, 14, 400)))
    laws = heard(stretches, front_end, fingerprint=DropOuts(rate_hz=0.3, median_s=0.04, longest_s=0.4)).filter
    assert laws.drop_outs.rate_hz == pytest.approx(true_hz, rel=0.35)
    assert laws.drop_outs.median_s == pytest.approx(median_s, rel=0.35)


def test_short_circuits_and_drop_outs_are_not_mixed_up() -> None:
    """Rare long shorts among many short drop-outs, all with one and the same signal: each law keeps its own rate."""
    laws = heard(job(np.random.default_rng(7), 240.0, 60.0, drop_out_hz=0.35, short_hz=0.05), "clamp").filter
    assert laws.drop_outs.rate_hz == pytest.approx(0.35, rel=0.35)
    assert laws.shorts.rate_hz == pytest.approx(0.05, rel=0.6)
    assert laws.shorts.rate_hz < 0.3 * laws.drop_outs.rate_hz


def test_shorts_that_were_lifted_out_of_do_not_shorten_the_law() -> None:
    """Shorts that would have lasted, all lifted out of after a tenth of a second: half would not have ended by then.

    Censored durations (any textbook on survival): a short lifted out of tells only that it lasts longer.
    """
    sampler = Sampler(front_end="biased")
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    for _ in range(40):
        for _ in range(100):
            gap.update(reader.read([614] * 10), 0.0, 0.01)
        for _ in range(10):
            gap.update(reader.read([5] * 10), 0.0, 0.01)
        gap.update(reader.read([5] * 10), 40.0, 0.01)
        gap.update(reader.read([614] * 10), 40.0, 0.01)
    assert gap.shorts.half_s > ShortLaw.HALF_S


@pytest.mark.parametrize("half_s", [0.06, 0.3, 1.5])
def test_the_law_of_shorts_is_found_from_durations_of_which_many_were_cut_off(half_s: float) -> None:
    """Durations from a Lomax law of shape 1, all beyond half a second lifted out of: its half-life is found.

    The law as scipy.stats.lomax has it; the median of shape 1 is its scale.
    """
    law = ShortLaw()
    for duration_s in lomax(1.0, scale=half_s).rvs(600, random_state=np.random.default_rng(3)):
        law.learn(min(float(duration_s), 0.5), 1.0, answered_um=40.0 if duration_s > 0.5 else 0.0)
    assert law.half_s == pytest.approx(half_s, rel=0.35)


def test_the_spark_rate_is_counted_right() -> None:
    """Regular sparks, 50 a second: the smoothed rate is 50 within a tenth, for every front end."""
    for front_end, burning, pause in (("clamp", 614, 5), ("divider", 324, 5), ("biased", 614, 164)):
        sampler = Sampler.model_validate({"front_end": front_end})
        reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
        for _ in range(200):
            gap.update(reader.read([920] * 8 + [burning] * 2), 0.0, 0.01)
            gap.update(reader.read([pause] * 4 + [920] * 6), 0.0, 0.01)
        assert gap.spark_rate_hz == pytest.approx(50.0, rel=0.1)


def test_metal_is_told_within_three_samples_and_is_no_spark() -> None:
    """`biased`: no spark's pause reads as metal, so none is waited for; one noisy sample is no contact."""
    sampler = Sampler(front_end="biased")
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    for _ in range(100):
        gap.update(reader.read([614] * 4 + [164] * 3 + [614] * 3), 0.0, 0.01)
    gap.update(reader.read([614] * 4 + [164, 5, 5, 164] + [614] * 2), 0.0, 0.01)
    assert not gap.answerable
    gap.update(reader.read([614] * 7 + [5] * 3), 0.0, 0.01)
    assert gap.answerable
    assert gap.state is GapState.SHORTED
    window = reader.read([5] * 2 + [614] * 8)
    assert (window.sparks, window.ended_ms) == (0, 5.0)
    gap.update(window, 0.0, 0.01)
    assert not gap.answerable


def test_a_metal_contact_is_never_left_alone_to_learn_from_it() -> None:
    sampler = Sampler(front_end="biased")
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    for _ in range(60):
        for _ in range(50):
            gap.update(reader.read([614] * 10), 0.0, 0.01)
        gap.update(reader.read([5] * 10), 0.0, 0.01)
        assert gap.answerable
        gap.update(reader.read([614] * 10), 40.0, 0.01)


def test_a_restart_keeps_what_was_learned() -> None:
    """Source off and on again: the past minute's lows are forgotten, the laws are not."""
    gap = heard(job(np.random.default_rng(7), 60.0, 60.0), "clamp").filter
    learned = (gap.drop_outs.rate_hz, gap.drop_outs.median_s, gap.shorts.rate_hz)
    gap.restart()
    assert (gap.drop_outs.rate_hz, gap.drop_outs.median_s, gap.shorts.rate_hz) == learned
    assert (gap.state, gap.spark_rate_hz, gap.high_share) == (OPEN, 0.0, 1.0)


# -- pauses --------------------------------------------------------------------------------------------------------


def pausing(pauses_ms: list[int]) -> GapFilter:
    """A filter that has heard these spark pauses, 20 ms apart; the last sample was high."""
    sampler = Sampler()
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    for pause_ms in pauses_ms:
        samples = [614] * 4 + [5] * pause_ms + [614] * (16 - pause_ms)
        for part in (samples[:10], samples[10:]):
            gap.update(reader.read(part), 0.0, 0.01)
    gap.update(reader.read([614] * 2 + [5] * 8), 0.0, 0.01)
    return gap


def test_pauses_of_every_length_are_alike_before_the_source_was_seen() -> None:
    """Until pauses were counted none up to the longest is unusual, and the longer the fewer last."""
    law = PauseLaw()
    survivals = [law.survival(float(ms)) for ms in range(14)]
    assert law.usual_ms == SPARK_PAUSE_MAX_MS
    assert survivals[0] == 1.0
    assert survivals == pytest.approx([1.0 - ms / 14.0 for ms in range(14)])


def test_the_usual_pause_is_longer_than_nine_in_ten() -> None:
    """Pauses of 2 to 11 ms, each as often: one in ten lasts for 11 ms, so from the next on a low is unusual."""
    law = PauseLaw()
    for n in range(6400):
        law.learn(2.0 + n % 10, 1)
    assert law.usual_ms == 12.0
    assert law.survival(11.0) == pytest.approx(0.1, abs=0.005)
    assert law.survival(7.0) == pytest.approx(0.5, abs=0.005)


def test_two_sparks_in_a_tick_count_twice() -> None:
    """However its pauses are shared out over ticks, a source comes out the same."""
    one, two = PauseLaw(), PauseLaw()
    for _ in range(64):
        one.learn(3.0, 1)
        one.learn(3.0, 1)
        two.learn(3.0, 2)
    assert [one.survival(float(ms)) for ms in range(14)] == [two.survival(float(ms)) for ms in range(14)]


def test_a_low_longer_than_this_source_pauses_gets_a_second_thought() -> None:
    """Eight milliseconds low: a pause with a source that pauses for ten, hardly one with a source that pauses for two.

    The longest pause of any source (13 ms, electrics.md) is not waited for.
    """
    slow, quick = pausing([10] * 3000), pausing([2] * 3000)
    assert (slow.state, quick.state) == (SPARKING, OFF)
    assert slow.p_sparking > 0.95
    assert quick.p_sparking < 0.4


# -- shorts and lifts ----------------------------------------------------------------------------------------------


def stays_lifted(law: ShortLaw) -> float:
    """Probability that a short survives a lift that ends every touch: the share that is stuck."""
    return law.survival(1e-6, 1000.0)


def test_one_short_in_twenty_is_taken_for_stuck_at_first() -> None:
    """A lift ends a touch, never a weld: beyond several gaps a further lift tells nothing more."""
    law = ShortLaw()
    assert stays_lifted(law) == pytest.approx(0.05, rel=1e-4)
    assert law.survival(1e-6, 2000.0) == pytest.approx(stays_lifted(law))
    assert law.survival(1e-6, 0.0) == pytest.approx(1.0)
    lifts_um = (0.0, 5.0, 15.0, 45.0, 200.0)
    assert [law.survival(0.1, um) for um in lifts_um] == sorted(
        (law.survival(0.1, um) for um in lifts_um), reverse=True
    )


@pytest.mark.parametrize(("stuck_every", "share"), [(200, 0.005), (10, 0.1), (3, 1.0 / 3.0)])
def test_the_stuck_share_is_learned_from_the_lifts_that_ended_shorts(stuck_every: int, share: float) -> None:
    """Ended by a lift of one gap it touched, by one of several it was stuck: the share follows what was seen."""
    law = ShortLaw()
    for n in range(1, 401):
        law.learn(0.1, 1.0, answered_um=400.0 if n % stuck_every == 0 else 30.0)
    assert stays_lifted(law) == pytest.approx(share, rel=0.2, abs=0.004)


def test_shorts_that_end_untouched_say_nothing_of_the_stuck_share() -> None:
    """Only a lift tells a touch from a weld."""
    law = ShortLaw()
    for _ in range(100):
        law.learn(0.1, 1.0)
    assert stays_lifted(law) == pytest.approx(0.05, rel=1e-4)


def test_a_low_that_outlasted_a_small_lift_and_ended_with_a_larger_one_was_a_weld() -> None:
    """What counts is the lift that ended it: up to that one the small lift, like time, had been no answer."""
    sampler = Sampler()
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    for _ in range(200):
        gap.update(reader.read([614] * 4 + [5] * 4 + [614] * 2), 0.0, 0.01)
    stuck = stays_lifted(gap.shorts)
    for tick in range(40):
        lift_um = 0.0 if tick < 3 else 20.0 if tick < 38 else 400.0
        gap.update(reader.read([5] * 10), lift_um, 0.01)
    gap.update(reader.read([614] * 10), 400.0, 0.01)
    assert not gap.last_was_off
    assert stays_lifted(gap.shorts) > stuck


def lifted_low(front_end: str, low_ticks: int, lift_at: int, *, ends_with_lift: bool) -> GapFilter:
    """Sparks, then a low that is lifted from by 80 µm at some tick; it ends with the lift, or at its own time."""
    sampler = Sampler.model_validate({"front_end": front_end})
    high, low = (920, 5) if front_end == "divider" else (614, 5)
    reader, gap = WindowReader(sampler), GapFilter(sampler, DropOuts(), 0.01)
    for _ in range(200):
        gap.update(reader.read([high] * 4 + [low] * 4 + [high] * 2), 0.0, 0.01)
    for tick in range(low_ticks):
        gap.update(reader.read([low] * 10), 80.0 if tick >= lift_at else 0.0, 0.01)
    gap.update(reader.read([high] * 10), 80.0 if ends_with_lift or low_ticks > lift_at else 0.0, 0.01)
    return gap


@pytest.mark.parametrize("front_end", ["clamp", "divider"])
@pytest.mark.parametrize(
    ("low_ticks", "lift_at", "ends_with_lift", "was_off"),
    [
        (10, 10, True, False),  # the lift ended it: a touch
        (12, 10, True, False),  # two ticks for the lift to be done and sampled
        (30, 10, False, True),  # it outlasted the lift by far: a drop-out
        (6, 99, False, True),  # never lifted, over after a drop-out's usual time
    ],
)
def test_what_ended_a_low_tells_what_it_was(
    front_end: str, low_ticks: int, lift_at: int, ends_with_lift: bool, was_off: bool
) -> None:
    """At once with the lift it was a short; long after it, or never lifted and short, a drop-out."""
    assert lifted_low(front_end, low_ticks, lift_at, ends_with_lift=ends_with_lift).last_was_off is was_off
