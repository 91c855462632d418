"""The virtual operator: as slow and as exact as the interface says, and no more helpful than a person."""

from __future__ import annotations

from statistics import fmean, pstdev

from controller.core.events import PromptRaised
from controller.core.requests import Answer
from sim.operator import VirtualOperator
from sim.random import Streams


class Hands:
    """Notes what hands did."""

    def __init__(self) -> None:
        self.pushed_mm: list[float] = []
        self.renewed = 0
        self.freed = 0

    def advance_electrode(self, protrusion_mm: float) -> None:
        self.pushed_mm.append(protrusion_mm)

    def new_electrode(self) -> None:
        self.renewed += 1

    def free_electrode(self) -> None:
        self.freed += 1


def prompt(number: int, topic: str, *, planned: bool) -> PromptRaised:
    return PromptRaised(0.0, number, topic, "something", "this", "that", ("done", "end"), planned)


def answered_after_s(operator: VirtualOperator, asked: PromptRaised, from_s: float) -> float:
    """Machine time until the first answer, looked for every tick of 10 ms."""
    tick = 0
    while not operator.requests(from_s + tick * 0.01, asked):
        tick += 1
    return tick * 0.01


def test_an_answer_comes_after_a_minute_of_machine_time_with_the_first_choice() -> None:
    """60 s (interfaces.md, "Virtual operator")."""
    operator = VirtualOperator(Hands(), 45.0, Streams(1))
    asked = prompt(1, "advance", planned=True)
    assert answered_after_s(operator, asked, 100.0) == 60.0
    assert operator.requests(1000.0, prompt(2, "advance", planned=True)) == ()
    assert operator.requests(1060.0, prompt(2, "advance", planned=True)) == (Answer(2, "done"),)


def test_a_prompt_is_answered_once() -> None:
    """While the core is still proving, the same prompt brings no second push."""
    hands = Hands()
    operator = VirtualOperator(hands, 45.0, Streams(1))
    asked = prompt(1, "advance", planned=True)
    answered_after_s(operator, asked, 0.0)
    assert not any(operator.requests(60.0 + tick, asked) for tick in range(1000))
    assert len(hands.pushed_mm) == 1


def test_nothing_is_done_before_the_answer() -> None:
    """Hands move at the time of the answer, not when the prompt is read."""
    hands = Hands()
    operator = VirtualOperator(hands, 45.0, Streams(1))
    operator.requests(0.0, prompt(1, "advance", planned=True))
    operator.requests(59.9, prompt(1, "advance", planned=True))
    assert hands.pushed_mm == []


def test_the_electrode_is_pushed_to_within_two_millimetres() -> None:
    """± 2 mm (interfaces.md): never further off, and using the whole of it."""
    hands = Hands()
    operator = VirtualOperator(hands, 45.0, Streams(1))
    for number in range(1, 401):
        answered_after_s(operator, prompt(number, "advance", planned=True), 100.0 * number)
    errors = [pushed - 45.0 for pushed in hands.pushed_mm]
    assert max(map(abs, errors)) <= 2.0
    assert min(errors) < -1.9
    assert max(errors) > 1.9


def test_each_topic_gets_the_work_it_asks_for() -> None:
    """A spent rod is renewed; an unplanned prompt is a rescue; a planned one without a task needs no hands."""
    hands = Hands()
    operator = VirtualOperator(hands, 45.0, Streams(1))
    for number, (topic, planned) in enumerate(
        [("electrode-exhausted", True), ("electrode-stuck", False), ("look", True)], 1
    ):
        answered_after_s(operator, prompt(number, topic, planned=planned), 100.0 * number)
    assert (hands.pushed_mm, hands.renewed, hands.freed) == ([], 1, 1)


def test_gauging_has_a_hundredth_of_standard_uncertainty() -> None:
    """0.01 mm (interfaces.md): mean and standard deviation of 4000 readings, within five of their standard errors."""
    operator = VirtualOperator(Hands(), 45.0, Streams(1))
    errors = [operator.gauge(1.5) - 1.5 for _ in range(4000)]
    assert abs(fmean(errors)) < 5 * 0.01 / 4000**0.5
    assert abs(pstdev(errors) - 0.01) < 5 * 0.01 / 8000**0.5
