"""Steps sent against steps executed at the virtual board over a coupon, with resets and resends injected.

In virtual time, by bytes alone: link, core, boards and plant as in the real-time session, tick by tick. Whenever the
link says that it knows where the axes stand and that nothing is under way, its count is held against what the board has
stepped. A board that resets loses steps at once and can say so only when it has booted, or be missed when it stays
silent; that long the link believes what is no longer so. How long, is measured.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from random import Random

from controller.core.observation import BoardState
from controller.host.capture import head_bytes, look_bytes
from controller.host.session import Look, Session
from controller.link.grid import Steps, subtract
from controller.link.machine_link import MachineLink
from controller.workshop import assignment, controller_for, start_record
from sim.boards.ack import AckBoard
from sim.settings import load_plant
from sim.wired import WiredMachine
from tests.benchmarks.wires.pair import machine_text

# Lines asked for again in a row, and a byte in so many spoilt on the wire of an `ack` board (both ways), whose lines
# carry checksums. Those of a `status` board carry none: there a spoilt digit is a step more or less that only the
# board's count at the next rest tells, so none are spoilt. Chosen: far more than a cable that anybody would keep.
GARBLED, SPOILT = 6, 20_000
# From one disturbance to the next (s of machine time), and the longest run that is looked at. Chosen.
EVERY_S, LONGEST_S = (2.0, 20.0), 1500.0


@dataclass(slots=True)
class Ledger:
    """How well the count was kept.

    Attributes:
        outcome: How the run ended.
        compared: Ticks in which the counts could be compared; `equal` of them they were.
        resends, spoilt, resets: What was injected.
        wrong_s: The longest time for which a count was believed that was not so.
        ends_known: At the end the link says that it knows.
        ends_equal: At the end the counts are equal.
    """

    convention: str
    outcome: str = ""
    compared: int = 0
    equal: int = 0
    resends: int = 0
    spoilt: int = 0
    resets: int = 0
    wrong_s: float = 0.0
    ends_known: bool = False
    ends_equal: bool = False

    @property
    def holds(self) -> bool:
        """Equal, or known to be unknown: at the end, and at once in between."""
        return self.ends_equal or not self.ends_known


class ByBytes:
    """Link, core and virtual machine joined by bytes in virtual time.

    Args:
        folder: Where the machine file is written.
        convention, front_end, job: What is run.
        seed: Of the plant.
        captures: Keep every byte, as `run --capture` does.
    """

    def __init__(
        self,
        folder: Path,
        convention: str,
        front_end: str = "clamp",
        job: str = "coupon.toml",
        seed: int = 1,
        *,
        captures: bool = False,
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        machine = folder / f"{convention}-{front_end}.toml"
        machine.write_text(machine_text(convention, front_end, 100), encoding="utf-8")
        given = assignment(job, str(machine), rehearsed=False)
        self.wired = WiredMachine(given.machine, given.job, given.plan, load_plant(), seed)
        self.session = Session(MachineLink(given.machine), controller_for(given))
        self.spoil: Callable[[bytes], bytes] = bytes
        self.capture = bytearray(head_bytes(start_record(given, "2020-01-01T00:00:00Z"))) if captures else None
        self.time_s = 0.0
        self._tick_s = 1.0 / given.machine.tick_hz
        self.wired.motion.boot()
        self.wired.sampler.boot()

    def tick(self) -> None:
        """One tick."""
        self.time_s += self._tick_s
        board, sampler = self.wired.advance(self.time_s)
        look = Look(self.time_s, self.spoil(board), sampler)
        outcome = self.session.look(look)
        self.wired.motion.receive(self.spoil(outcome.board))
        self.wired.sampler.receive(outcome.sampler)
        if self.capture is not None:
            self.capture += look_bytes(look, outcome)

    def ticks(self, longest_s: float) -> Iterator[None]:
        """Tick after tick until the session is over."""
        while not (self.session.over or self.session.unfit) and self.time_s < longest_s:
            self.tick()
            yield


class Tally:
    """Holds the link's count against the board's steps."""

    def __init__(self, wire: ByBytes, kept: Ledger) -> None:
        self._wire, self._kept = wire, kept
        self._origin: Steps | None = None
        self._wrong_since_s: float | None = None

    def look(self) -> None:
        """After a tick."""
        wire, kept = self._wire, self._kept
        board, planner = wire.session.link.board, wire.wired.motion.planner
        if not board.homed or not board.ledger.known:
            self._origin = self._wrong_since_s = None
            return
        at_rest = board.state is BoardState.READY and not board.queued and planner.empty
        if not at_rest:
            return
        apart = subtract(planner.steps, board.ledger.sent)
        if self._origin is None:
            self._origin = apart  # homing has just made them agree
        kept.compared += 1
        if apart == self._origin:
            kept.equal += 1
            self._wrong_since_s = None
            return
        if self._wrong_since_s is None:
            self._wrong_since_s = wire.time_s
        kept.wrong_s = max(kept.wrong_s, wire.time_s - self._wrong_since_s + 0.01)

    def end(self) -> None:
        """After the last tick."""
        board = self._wire.session.link.board
        self._kept.ends_known = board.homed and board.ledger.known
        apart = subtract(self._wire.wired.motion.planner.steps, board.ledger.sent)
        self._kept.ends_equal = apart == self._origin


def kept(folder: Path, convention: str, seed: int, *, resets: bool) -> Ledger:
    """A coupon with disturbances; with `resets` the board restarts once, somewhere."""
    wire, found, rng = ByBytes(folder, convention, seed=seed), Ledger(convention), Random(seed)
    tally = Tally(wire, found)
    noisy = convention == "ack"
    next_s = 80.0  # boots, homes, measures and maps until then
    reset_s = next_s + rng.uniform(0.0, 120.0) if resets else LONGEST_S
    with spoilt(wire, found, rng) if noisy else nullcontext():
        for _ in wire.ticks(LONGEST_S):
            tally.look()
            if wire.time_s >= next_s:
                next_s += rng.uniform(*EVERY_S)
                if isinstance(wire.wired.motion, AckBoard):
                    wire.wired.motion.intake.garble(GARBLED)
                    found.resends += 1
            if wire.time_s >= reset_s:
                reset_s = LONGEST_S
                wire.wired.motion.boot()
                found.resets += 1
    tally.end()
    ended = wire.session.ended
    found.outcome = ended.outcome if ended else "not ended"
    return found


@contextmanager
def spoilt(wire: ByBytes, found: Ledger, rng: Random) -> Iterator[None]:
    """Some bytes on the motion board's wire are wrong, both ways, once the machine is referenced."""

    def spoil(carried: bytes) -> bytes:
        if not wire.session.link.board.homed or not carried:
            return carried
        out = bytearray(carried)
        for place in range(len(out)):
            if rng.randrange(SPOILT) == 0:
                out[place] = rng.randrange(256)
                found.spoilt += 1
        return bytes(out)

    wire.spoil = spoil
    yield
    wire.spoil = bytes
