"""The step ledger: whole motor steps sent, acknowledged and estimated done, and what still stands in the board's queue.

A move of the core is an *order*. It is written in one or more lines, its *pieces*, as the board can take them without
anything being queued that could not be left off again. What a board has really done is never told in time; it is
estimated from when a line was written and how long its way takes, and confirmed by the board's own count whenever the
board is known to stand (wires.md: poll to confirm, never to decide).

The rule that always holds: sent = finished + what is written of the orders; or `known` is False, because the board has
reset or fallen into an alarm.
"""

from __future__ import annotations

from collections import deque
from math import inf

from controller.link.grid import NOWHERE, Steps, add, share, subtract
from controller.link.profile import Profile

# An order that takes longer than this counts as done only when the board itself says that it stands: its estimate may
# be off by more than a tick. Chosen so; the paced moves of the servo take some milliseconds.
CONFIRM_S = 0.1


class Order:
    """One move of the core on its way.

    Attributes:
        delta: The whole way in steps.
        pieces: Lines it is written in.
        written: Lines written so far.
        acknowledged: Lines the board has taken.
        urgent: A retract: nothing may hold it back.
        profile: How it is expected to go.
        start_s: When its first step is expected; infinite before anything was written.
        confirm: True when only the board's own word ends it.
    """

    __slots__ = ("acknowledged", "confirm", "delta", "pieces", "profile", "start_s", "urgent", "written")

    def __init__(self, delta: Steps, pieces: int, profile: Profile, *, urgent: bool) -> None:
        self.delta = delta
        self.pieces = pieces
        self.profile = profile
        self.urgent = urgent
        self.written = self.acknowledged = 0
        self.start_s = inf
        self.confirm = profile.duration_s > CONFIRM_S

    @property
    def whole(self) -> bool:
        """All its lines are written."""
        return self.written == self.pieces

    def written_way(self) -> Steps:
        """The steps of the lines written so far."""
        return share(self.delta, self.written, self.pieces)

    def next_way(self) -> Steps:
        """The steps of the line to be written next."""
        return subtract(share(self.delta, self.written + 1, self.pieces), self.written_way())

    def end_s(self) -> float:
        """When the last step of the lines written so far is expected."""
        return self.start_s + self.profile.time_s(self.profile.length_um * self.written / self.pieces)

    def part(self, time_s: float) -> float:
        """The part (0 to 1) of the whole way that is estimated done; never more than what is written."""
        if time_s <= self.start_s:
            return 0.0
        return min(self.profile.way_um(time_s - self.start_s) / self.profile.length_um, self.written / self.pieces)


class Piece:
    """One written line of an order."""

    __slots__ = ("acknowledged", "order", "way")

    def __init__(self, order: Order, way: Steps) -> None:
        self.order = order
        self.way = way
        self.acknowledged = False


class StepLedger:
    """All orders and the three counts.

    Attributes:
        sent: Place (steps, machine frame) at which the axes stand once everything written is done.
        acknowledged: The same for what the board has taken.
        finished: The same for orders that are over.
        orders: Moves not yet done, the running one first.
        known: False after a reset or an alarm: nobody can say where the axes stand.
        late: The board was found moving when everything was estimated done.
    """

    __slots__ = ("_done", "_time_s", "acknowledged", "finished", "known", "late", "orders", "sent")

    def __init__(self) -> None:
        self.sent = self.acknowledged = self.finished = self._done = NOWHERE
        self.orders: deque[Order] = deque()
        self.known = False
        self.late = False
        self._time_s = -inf

    # -- what is known ------------------------------------------------------------------------------------------------

    @property
    def done(self) -> Steps:
        """Where the axes are estimated to stand, as of the last `advance`."""
        return self._done

    @property
    def wanted(self) -> Steps:
        """Where the axes stand once all orders are done, written or not."""
        place = self.finished
        for order in self.orders:
            place = add(place, order.delta)
        return place

    @property
    def queued(self) -> int:
        """Moves not yet done; one more than none while the board is found late."""
        return len(self.orders) or int(self.late)

    def planned(self, time_s: float) -> int:
        """Lines that are written and estimated to stand in the board's queue, the running one counted."""
        return sum(order.written - int(order.part(time_s) * order.pieces + 1e-9) for order in self.orders)

    def ahead_s(self, time_s: float) -> float:
        """For how long the board is estimated to go on with what is written."""
        ends_s = [order.end_s() for order in self.orders if order.written]
        return max(ends_s[-1] - time_s, 0.0) if ends_s else 0.0

    # -- orders -------------------------------------------------------------------------------------------------------

    def order(self, delta: Steps, pieces: int, profile: Profile, *, urgent: bool = False) -> None:
        """Take a move up as an order behind all others."""
        self.orders.append(Order(delta, pieces, profile, urgent=urgent))

    def withdraw(self) -> None:
        """Drop whatever is not written yet; what is written runs out."""
        kept: deque[Order] = deque()
        for order in self.orders:
            if order.written == 0:
                continue
            if not order.whole:
                part, profile = order.written / order.pieces, order.profile
                order.profile = Profile(profile.length_um * part, profile.asked_um_s, profile.acceleration_um_s2)
                order.delta, order.pieces = order.written_way(), order.written
            kept.append(order)
        self.orders = kept

    def write(self, order: Order, first_step_s: float) -> Piece:
        """Count the next line of an order as sent; its first step is expected at `first_step_s` or after the others."""
        piece = Piece(order, order.next_way())
        if order.written == 0:
            ends_s = [other.end_s() for other in self.orders if other is not order and other.written]
            order.start_s = max([first_step_s, *ends_s])
        order.written += 1
        self.sent = add(self.sent, piece.way)
        return piece

    def acknowledge(self, piece: Piece) -> None:
        """The board has taken a line; told twice, it counts once."""
        if not piece.acknowledged:
            piece.acknowledged = True
            piece.order.acknowledged += 1
            self.acknowledged = add(self.acknowledged, piece.way)

    def refuse(self, piece: Piece) -> None:
        """The board has refused a line: its steps will not be made. Nothing further is written of any order."""
        self.withdraw()
        order = piece.order
        order.written -= 1
        order.pieces -= 1
        order.delta = subtract(order.delta, piece.way)
        order.confirm = True
        self.sent = subtract(self.sent, piece.way)
        if order.pieces == 0 and order in self.orders:
            self.orders.remove(order)
        self.advance(self._time_s)

    # -- time ---------------------------------------------------------------------------------------------------------

    def advance(self, time_s: float) -> None:
        """Bring the estimate up to a time."""
        self._time_s = time_s
        orders = self.orders
        while orders and self._over(orders[0], time_s):
            self.finished = add(self.finished, orders.popleft().delta)
        self._done = self.finished
        if orders:
            front = orders[0]
            millionths = int(front.part(time_s) * 1_000_000)
            self._done = add(self.finished, share(front.delta, millionths, 1_000_000))

    @staticmethod
    def _over(order: Order, time_s: float) -> bool:
        if order.confirm or not order.whole or order.acknowledged < order.pieces:
            return False
        return time_s >= order.end_s()

    # -- the board's own word -----------------------------------------------------------------------------------------

    def stands(self) -> None:
        """The board is known to stand, with nothing taken and not done: everything written whole is over."""
        self.late = False
        while self.orders and self.orders[0].whole:
            self.finished = add(self.finished, self.orders.popleft().delta)
        self._done = self.finished

    def adopt(self, place: Steps) -> None:
        """Take the board's own count as the truth; orders not yet begun stay, and lead on from there."""
        written = [order for order in self.orders if order.written]
        for order in written:
            self.orders.remove(order)
        self.sent = self.acknowledged = self.finished = self._done = place
        self.known = True
        self.late = False

    def lose(self) -> None:
        """The board has reset or is in an alarm: drop all orders; the place is no longer known."""
        self.orders.clear()
        self.sent = self.acknowledged = self.finished = self._done
        self.known = False
        self.late = False
