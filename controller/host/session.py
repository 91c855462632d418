"""Link and core as one thing that is looked after tick by tick: bytes in, bytes out, told the time.

Everything that a run decides it decides here, from what a `Look` holds and from nothing else. So a run can be repeated
from its looks, byte by byte and event by event (`replay`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from controller.core.conductor import WATER_OFF_S, Conductor
from controller.core.events import Event, Noticed, PromptRaised, RunEnded, TicksMissed
from controller.core.requests import Request
from controller.core.snapshot import Snapshot
from controller.link.machine_link import MachineLink, Wire
from controller.link.notices import Problem

# After the end: the water stops by itself within WATER_OFF_S; a lift to the clear height over 90 mm at 10 mm/s is over
# in less than this. Chosen.
WIND_DOWN_S: Final = 20.0


@dataclass(slots=True)
class Look:
    """One tick as the loop met it.

    Args:
        time_s: Since the ports were opened.
        board, sampler: Bytes that had arrived.
        requests: What people asked for.
        missed: Ticks left out since last told, their worst lateness (s), and how many there were so far; None for none.
        lost: Ports that have gone, each with the reason.
    """

    time_s: float
    board: bytes
    sampler: bytes
    requests: Sequence[Request] = ()
    missed: tuple[int, float, int] | None = None
    lost: Sequence[tuple[Wire, str]] = ()


@dataclass(slots=True)
class Outcome:
    """What came of a look: bytes to be written on each wire, and events for the record."""

    board: bytes
    sampler: bytes
    events: list[Event]


class Session:
    """One run of a core on a machine.

    Args:
        link: Both wires; not started yet.
        core: The core; not ticked yet.
        before_s: Machine time that a run has taken before it was taken up again; its time goes on from there.
        lenient: Drive whatever can be driven, even a machine that is not fit for a job: to find out what is wrong.

    Attributes:
        link, core: The two.
        driving: The machine is connected and the core is at work.
        over: Nothing more is to be done: the machine is safe and still.
    """

    __slots__ = ("_ended_s", "_lenient", "before_s", "core", "driving", "link", "over")

    def __init__(self, link: MachineLink, core: Conductor, before_s: float = 0.0, *, lenient: bool = False) -> None:
        self.link, self.core, self.before_s = link, core, before_s
        self.driving = self.over = False
        self._ended_s: float | None = None
        self._lenient = lenient
        link.start(0.0)

    @property
    def unfit(self) -> list[Problem]:
        """Why the machine can't be driven, once connecting is over; empty while all goes well."""
        if self.driving or self.link.connecting or (self._lenient and self.link.connected):
            return []
        return self.link.problems

    @property
    def ended(self) -> RunEnded | None:
        """How the core's program ended, once it has."""
        return self.core.ended

    @property
    def waiting(self) -> PromptRaised | None:
        """The prompt that waits for an answer."""
        return None if self.core.ended else self.core.waiting

    def snapshot(self) -> Snapshot | None:
        """A picture of the core; None before its first tick."""
        return self.core.snapshot() if self.driving else None

    def look(self, look: Look) -> Outcome:
        """Take one tick's bytes and requests."""
        link, now_s = self.link, look.time_s
        for wire, why in look.lost:
            link.lose(wire, now_s, why)
        link.receive(Wire.BOARD, look.board, now_s)
        link.receive(Wire.SAMPLER, look.sampler, now_s)
        events: list[Event] = [] if look.missed is None else [TicksMissed(self.before_s + now_s, *look.missed)]
        self.driving = self.driving or (link.connected if self._lenient else link.fit)
        if self.driving:
            self._drive(look, events)
        written = link.pending(Wire.BOARD, now_s), link.pending(Wire.SAMPLER, now_s)
        events += [Noticed(self.before_s + notice.time_s, notice.wire, notice.what) for notice in link.notices()]
        return Outcome(*written, events)

    def emergency_stop(self, time_s: float) -> Outcome:
        """Source off and motion stopped at once, whatever it costs; then everything off."""
        self.link.emergency_stop(time_s)
        return self._closing(time_s)

    def close(self, time_s: float) -> Outcome:
        """The last bytes before the ports are closed: every output off, nothing further moves."""
        return self._closing(time_s)

    def _drive(self, look: Look, events: list[Event]) -> None:
        """One tick of the core; its heartbeat edge goes out with its commands and in no other way."""
        observation = self.link.observe(look.time_s)
        observation.time_s += self.before_s
        out = self.core.tick(observation, look.requests)
        self.link.carry_out(out.commands, look.time_s)
        events += out.events
        if self.core.ended is not None:
            if self._ended_s is None:
                self._ended_s = look.time_s
            since_s = look.time_s - self._ended_s
            still = since_s > WATER_OFF_S and not observation.queued and not out.commands
            self.over = still or since_s > WIND_DOWN_S

    def _closing(self, time_s: float) -> Outcome:
        link = self.link
        link.close(time_s)
        return Outcome(link.pending(Wire.BOARD, time_s), link.pending(Wire.SAMPLER, time_s), [])
