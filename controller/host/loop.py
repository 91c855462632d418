"""The real-time loop: the only clock of the real machine. It waits, looks, writes, and hands everything else on.

A heartbeat edge goes out with a completed tick of the core and in no other way, so whatever ends or stops this loop
(a kill, a frozen process, a pulled cable) starves the fail-safe gate, and the source contact opens by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from time import monotonic, sleep
from typing import Final, Protocol

from controller.core.requests import Request
from controller.host.lookout import LOOK_S, Lookout
from controller.host.pacer import Pacer
from controller.host.session import Look, Outcome, Session
from controller.host.wires import Wires
from controller.link.machine_link import Wire

# The last stretch of a wait is waited awake (s): a core that sleeps takes some tenths of a millisecond to come back,
# more where all about it sleeps, too. Chosen: a twentieth of a processor at 100 Hz.
AWAKE_S: Final = 5e-4


class Desk(Protocol):
    """Who a loop works for: it asks, and it takes what came of every look. Nothing here may wait."""

    def requests(self, session: Session, now_s: float) -> Sequence[Request]:
        """What is asked of the core in this tick."""

    def take(self, session: Session, look: Look, outcome: Outcome) -> None:
        """What came of a look."""

    def cut(self, session: Session, now_s: float) -> bool:
        """True when everything is to be stopped at once."""


def drive(session: Session, wires: Wires, tick_s: float, desk: Desk, lookout: Lookout | None = None) -> Pacer:
    """Look after a session until it is over, unfit, or cut off. The ports were just opened; they are closed here.

    A tick that the lookout asks for comes between two that are due and puts neither off: what it has no room to write
    goes out with the next one.
    """
    zero_s = monotonic()
    pacer = Pacer(tick_s, 0.0)
    orderly = False
    try:
        while not (session.over or session.unfit):
            heard, due = _awaited(session, wires, zero_s + pacer.due_s, lookout)
            now_s = monotonic() - zero_s
            if due:
                pacer.begin(now_s)
            look = _met(session, wires, pacer, desk, now_s)
            if lookout is not None:
                lookout.sees(look.sampler)  # it counts on from tick to tick; this tick sees for itself
            look.sampler = heard + look.sampler
            outcome = session.look(look)
            _write(wires, outcome)
            desk.take(session, look, outcome)
            if desk.cut(session, now_s):
                orderly = not session.driving  # nothing has moved yet
                return pacer
        orderly = True
    finally:
        now_s = monotonic() - zero_s
        _write(wires, session.close(now_s) if orderly else session.emergency_stop(now_s))
        wires.close()
    return pacer


def _awaited(session: Session, wires: Wires, due_s: float, lookout: Lookout | None) -> tuple[bytes, bool]:
    """Wait until a tick is due (True) or asked for by the lookout; with the sampler's bytes that came meanwhile."""
    heard = b""
    while (left_s := due_s - monotonic()) > 0.0:
        if left_s <= AWAKE_S:
            continue
        if lookout is None or not lookout.watches(session):
            sleep(left_s - AWAKE_S)
            continue
        sleep(min(left_s - AWAKE_S, LOOK_S))
        came = wires.read(Wire.SAMPLER)
        heard += came
        if lookout.sees(came):
            return heard, False
    return heard, True


def _met(session: Session, wires: Wires, pacer: Pacer, desk: Desk, now_s: float) -> Look:
    """What the loop meets in this tick."""
    missed = pacer.report(now_s) if session.driving else None
    board, sampler = wires.read(Wire.BOARD), wires.read(Wire.SAMPLER)
    asked = desk.requests(session, now_s)
    return Look(now_s, board, sampler, asked, missed, wires.newly_gone())


def _write(wires: Wires, outcome: Outcome) -> None:
    """The board's bytes first: a retract waits for nothing."""
    wires.write(Wire.BOARD, outcome.board)
    wires.write(Wire.SAMPLER, outcome.sampler)
