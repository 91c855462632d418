"""The oracle is a fair one: it makes a hole, and no servo that sees the wires only is faster."""

from __future__ import annotations

from tests.benchmarks.against_oracle import Errand, run
from tests.benchmarks.draw import draw
from tests.benchmarks.oracle import Tuning
from tests.benchmarks.score import TECHNOLOGY


def test_the_oracle_makes_the_first_hole_and_is_no_slower_than_the_controller() -> None:
    """At a set point in the middle of what sparks well: nothing of it is held back."""
    errand = Errand(3, 0, draw(3, 0, TECHNOLOGY).seed, holes=1)
    ours = run(errand)
    oracle = run(Errand(3, 0, errand.seed, holes=1, tuning=Tuning(25.0, 1.0, 40.0)))
    assert oracle.missed(1) == 0
    assert oracle.to_full_s(1) <= ours.to_end_s()
