"""The ledger's rule: what was sent is finished or stands written in an order; or the place is known to be unknown."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from controller.link.grid import NOWHERE, Steps, add
from controller.link.ledger import Piece, StepLedger
from controller.link.profile import Profile


def profile(delta: Steps) -> Profile:
    return Profile(float(sum(map(abs, delta))), 5000.0, 300_000.0)


ways = st.tuples(*[st.integers(-50, 50)] * 3).filter(any)


class LedgerMachine(RuleBasedStateMachine):
    """Any sequence of orders, lines, replies, refusals, halts, time, resets."""

    def __init__(self) -> None:
        super().__init__()
        self.ledger = StepLedger()
        self.ledger.adopt(NOWHERE)
        self.time_s = 0.0
        self.unanswered: list[Piece] = []
        self.executed = NOWHERE  # by a board that takes every line it does not refuse

    @rule(delta=ways, pieces=st.integers(1, 5), urgent=st.booleans())
    def order(self, delta: Steps, pieces: int, urgent: bool) -> None:
        if urgent:
            self.ledger.withdraw()
        self.ledger.order(delta, pieces, profile(delta), urgent=urgent)

    @rule()
    def write(self) -> None:
        order = next((order for order in self.ledger.orders if not order.whole), None)
        if order is not None:
            piece = self.ledger.write(order, self.time_s + 0.003)
            self.unanswered.append(piece)
            self.executed = add(self.executed, piece.way)

    @precondition(lambda self: self.unanswered)
    @rule()
    def acknowledge(self) -> None:
        self.ledger.acknowledge(self.unanswered.pop(0))

    @precondition(lambda self: self.unanswered)
    @rule()
    def refuse(self) -> None:
        piece = self.unanswered.pop(0)
        self.ledger.refuse(piece)
        self.executed = add(self.executed, (-piece.way[0], -piece.way[1], -piece.way[2]))

    @rule(seconds=st.floats(0.0, 0.5))
    def wait(self, seconds: float) -> None:
        self.time_s += seconds
        self.ledger.advance(self.time_s)

    @rule()
    def halt(self) -> None:
        self.ledger.withdraw()

    @precondition(lambda self: not self.unanswered)
    @rule()
    def stand(self) -> None:
        self.ledger.stands()

    @rule()
    def reset(self) -> None:
        self.ledger.lose()
        assert not self.ledger.known
        self.unanswered.clear()
        self.executed = NOWHERE
        self.ledger.adopt(NOWHERE)

    @invariant()
    def sent_is_finished_or_queued(self) -> None:
        ledger = self.ledger
        queued = NOWHERE
        for order in ledger.orders:
            queued = add(queued, order.written_way())
        assert ledger.sent == add(ledger.finished, queued)

    @invariant()
    def sent_is_what_the_board_will_have_done(self) -> None:
        assert self.ledger.sent == self.executed

    @invariant()
    def all_is_acknowledged_when_nothing_waits(self) -> None:
        if not self.unanswered:
            assert self.ledger.acknowledged == self.ledger.sent

    @invariant()
    def nothing_is_estimated_done_that_was_not_sent(self) -> None:
        ledger = self.ledger
        bounds = [ledger.finished]
        for order in ledger.orders:
            bounds.append(add(bounds[-1], order.written_way()))
        for axis in range(3):
            places = [bound[axis] for bound in bounds]
            assert min(places) <= ledger.done[axis] <= max(places)


TestLedger = LedgerMachine.TestCase


@given(ways, st.lists(st.floats(0.0, 0.1), min_size=2, max_size=20))
def test_the_estimate_of_one_order_only_goes_forward(delta: Steps, waits: list[float]) -> None:
    ledger = StepLedger()
    ledger.adopt(NOWHERE)
    ledger.order(delta, 1, profile(delta))
    ledger.acknowledge(ledger.write(ledger.orders[0], 0.0))
    time_s, seen = 0.0, []
    for wait_s in sorted(waits):
        time_s += wait_s
        ledger.advance(time_s)
        seen.append(sum(map(abs, ledger.done)))
    assert all(before <= after for before, after in pairwise(seen))
    ledger.advance(time_s + 10.0)
    assert ledger.done == delta
    assert ledger.queued == 0


def test_a_move_is_not_over_before_the_board_has_taken_it() -> None:
    ledger = StepLedger()
    ledger.adopt(NOWHERE)
    ledger.order((0, 0, -4), 1, profile((0, 0, -4)))
    piece = ledger.write(ledger.orders[0], 0.0)
    ledger.advance(10.0)
    assert ledger.queued == 1
    ledger.acknowledge(piece)
    ledger.advance(10.0)
    assert ledger.queued == 0


def test_a_reset_drops_orders_and_says_that_the_place_is_unknown() -> None:
    ledger = StepLedger()
    ledger.adopt((1, 2, 3))
    ledger.order((0, 0, -4), 1, profile((0, 0, -4)))
    ledger.write(ledger.orders[0], 0.0)
    ledger.lose()
    assert (ledger.known, ledger.queued) == (False, 0)
