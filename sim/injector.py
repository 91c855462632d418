"""When what goes wrong goes wrong: faults of `faults.py` as they are asked for, and whoever lets them happen.

A fault is asked for as `NAME` (once the first spark has struck), `NAME@t:1200s` (so long after the machine was switched
on) or `NAME@hole:12+3s` (so long after the electrode first stood over hole 12). Some wait, once due, until they can
happen: a tip welds in mid-spark.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from math import inf

from controller.core.observation import Observation
from sim.faults import FAULTS, Site

SPEC = re.compile(
    r"(?P<name>[a-z0-9-]+)(?:@(?:t:(?P<at_s>\d+(?:\.\d+)?)s|hole:(?P<hole>\d+)(?:\+(?P<after_s>\d+(?:\.\d+)?)s)?))?"
)
FORMS = "NAME, NAME@t:1200s or NAME@hole:12+3s"
# What befalls the process of the host, and not the machine, which knows nothing of it when it is taken up again.
OF_THE_PROCESS = frozenset({"disk-full", "host-killed", "host-terminated"})


class BadFaultError(ValueError):
    """A fault that can't be injected; the message says why and what could be."""


@dataclass(slots=True, frozen=True)
class Planned:
    """A fault and when it happens: at `at_s`, or `after_s` after the electrode first stood over `hole`."""

    name: str
    at_s: float = inf
    hole: int | None = None
    after_s: float = 0.0


def planned(spec: str, convention: str, *, rehearsed: bool = False) -> Planned:
    """A fault as it is written on the command line; raises BadFaultError."""
    form = SPEC.fullmatch(spec)
    if form is None:
        raise BadFaultError(f"--fault {spec}: not of the form {FORMS}")
    name = form["name"]
    there = names(rehearsed=rehearsed)
    if name not in there:
        close = get_close_matches(name, there, n=1)
        hint = f"did you mean {close[0]}? " if close else ""
        where = "a rehearsal" if rehearsed else "simulate"
        raise BadFaultError(f"--fault {spec}: {where} has no fault named {name}; {hint}there are {', '.join(there)}")
    if FAULTS[name].wires == "ack" and convention != "ack":
        raise BadFaultError(f"--fault {spec}: only `ack` boards ask for lines again; this one is `{convention}`")
    if form["at_s"] is not None:
        return Planned(name, at_s=float(form["at_s"]))
    if form["hole"] is not None:
        return Planned(name, hole=int(form["hole"]), after_s=float(form["after_s"] or 0.0))
    return Planned(name, at_s=0.0, hole=None, after_s=0.0)


def names(*, rehearsed: bool) -> list[str]:
    """The faults that can be injected there."""
    there = ("both", "rehearsal") if rehearsed else ("both", "simulated", "ack")
    return sorted(name for name, fault in FAULTS.items() if fault.wires in there)


class Injector:
    """Lets planned faults happen, each once.

    Attributes:
        next_s: When to be called again; so that a tick in which nothing is due costs one comparison.
        done: What has happened so far, with its machine time (s).
        broken: What of it has not been mended, in the order in which it happened.
    """

    __slots__ = ("_site", "_waiting", "broken", "done", "next_s")

    # Between two looks whether the electrode stands over a hole, and whether a fault that is due can happen (s).
    LOOK_S = 0.01

    def __init__(self, faults: Iterable[Planned], site: Site) -> None:
        self._waiting = list(faults)
        self._site = site
        self.done: list[tuple[str, float]] = []
        self.broken: list[str] = []
        self.next_s = 0.0 if self._waiting else inf

    def add(self, fault: Planned) -> None:
        """Let another fault happen."""
        self._waiting.append(fault)
        self.next_s = 0.0

    def act(self, seen: Observation | float) -> None:
        """Inject what is due at a machine time."""
        now_s = seen if isinstance(seen, float) else seen.time_s
        if not self._waiting:
            self.next_s = inf
            return
        holes = self._site.plant.truth.holes
        left: list[Planned] = []
        for fault in self._waiting:
            if fault.hole is not None and fault.at_s == inf and fault.hole in holes:
                fault = Planned(fault.name, now_s + fault.after_s, fault.hole, fault.after_s)  # noqa: PLW2901
            if fault.at_s <= now_s and FAULTS[fault.name].when(self._site):
                self.done.append((fault.name, now_s))
                self.broken.append(fault.name)
                FAULTS[fault.name].deed(self._site)
            else:
                left.append(fault)
        self._waiting = left
        self.next_s = now_s + self.LOOK_S if left else inf

    def mend(self) -> None:
        """A person has put right what had gone wrong so far; what was to befall the host's process befell that one."""
        for name in self.broken:
            FAULTS[name].mend(self._site)
        self.broken.clear()
        self._waiting = [fault for fault in self._waiting if fault.name not in OF_THE_PROCESS]
