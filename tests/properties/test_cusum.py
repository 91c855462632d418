"""Properties of the CUSUM on any scores."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.cusum import Cusum, TwoSidedCusum

scores = st.lists(st.integers(-40, 40).map(lambda eighths: eighths / 8.0), min_size=1, max_size=60)


@given(scores)
def test_the_sum_is_the_largest_excess_over_any_recent_stretch(xs: list[float]) -> None:
    """The sum is the greatest of (x - target - allowance) over any stretch that ends now, or 0 (Page 1954)."""
    detector = Cusum(target=0.25, allowance=0.5, threshold=3.0)
    for n, x in enumerate(xs, start=1):
        alarm = detector.update(x)
        excess = [x - 0.75 for x in xs[:n]]
        assert detector.level == max(0.0, *(sum(excess[start:]) for start in range(n)))
        assert alarm == (detector.level > 3.0)


@given(scores)
def test_the_run_and_the_date_of_change_tell_the_same_story(xs: list[float]) -> None:
    """Scores numbered from 1: the run began right after `changed_after`; dated by place, it is that score's place."""
    numbered, placed = Cusum(0.0, 0.5, 3.0), Cusum(0.0, 0.5, 3.0)
    placed.reset(at=100.0)
    for n, x in enumerate(xs, start=1):
        numbered.update(x)
        placed.update(x, at=100.0 + n / 4.0)
        assert numbered.changed_after == n - numbered.run
        assert placed.changed_after == 100.0 + (n - placed.run) / 4.0


@given(scores)
def test_looking_down_is_looking_up_in_a_mirror(xs: list[float]) -> None:
    """The lower side on x does what the upper side does on -x, and the pair alarms when either does."""
    pair, upper, mirrored = TwoSidedCusum(0.0, 0.5, 3.0), Cusum(0.0, 0.5, 3.0), Cusum(0.0, 0.5, 3.0)
    for x in xs:
        assert pair.update(x) == (upper.update(x) | mirrored.update(-x))
        assert (pair.upper.level, pair.lower.level) == (upper.level, mirrored.level)


@given(scores, scores)
def test_a_reset_forgets_everything(before: list[float], after: list[float]) -> None:
    """After a reset the detector does what a new one does."""
    used, new = TwoSidedCusum(0.0, 0.5, 3.0, head_start=1.5), TwoSidedCusum(0.0, 0.5, 3.0, head_start=1.5)
    for x in before:
        used.update(x)
    used.reset()
    assert [used.update(x) for x in after] == [new.update(x) for x in after]
    assert used.upper.changed_after == new.upper.changed_after


@pytest.mark.parametrize(
    ("allowance", "threshold", "head_start"), [(-0.1, 3, 0), (0.5, 0, 0), (0.5, 3, -1), (0.5, 3, 3.1)]
)
def test_meaningless_settings_are_refused(allowance: float, threshold: float, head_start: float) -> None:
    """A negative allowance, a threshold of 0 and a head start outside 0 to threshold are refused."""
    with pytest.raises(ValueError, match=r"CUSUM needs|head start"):
        Cusum(0.0, allowance, threshold, head_start)
