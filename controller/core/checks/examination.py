"""What the checks of a commissioning share: the bench, what was found so far, who is there, how a verdict is made."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import sqrt
from typing import Final

from controller.core.cycles.wait import until
from controller.core.events import Checked, Figure
from controller.core.phases import Phase, Trigger
from controller.core.rig import Bench, Cycle, Trip
from controller.core.window import ADC_COUNTS

PASSED: Final = "pass"
FAILED: Final = "fail"
NOT_DONE: Final = "not done"


@dataclass(slots=True, frozen=True)
class Verdict:
    """What became of one check: `pass`, `fail` or `not done`, what was found, what to do, and the figures."""

    outcome: str
    words: str
    remedy: str = ""
    figures: tuple[Figure, ...] = ()


@dataclass(slots=True)
class Examination:
    """A commissioning under way.

    Args:
        bench: The machine.
        answers: Somebody can answer prompts where the commissioning was started.
        hands_s: How long to wait for each thing that is done by hand at the machine (s); 0: nobody is there.
        left_out: Names of checks that are not wanted.

    Attributes:
        found: The outcome of every check so far, by name.
        current: Name and title of the check that is under way.
        contact_um: Axis height of the reference plate under the tip, once it was touched.
        waiting: The checks that come after it.
    """

    bench: Bench
    answers: bool
    hands_s: float
    left_out: frozenset[str] = frozenset()
    found: dict[str, str] = field(default_factory=dict)
    current: tuple[str, str] = ("", "")
    contact_um: float = 0.0
    waiting: tuple[Check, ...] = ()

    def passed(self, *names: str) -> bool:
        """All of these checks were passed."""
        return all(self.found.get(name) == PASSED for name in names)

    @property
    def source_away(self) -> bool:
        """No voltage of the source can be on the electrode: its contact is open, or its supply is off."""
        return self.passed("contact") or self.passed("supply")

    def record(self, name: str, title: str, verdict: Verdict) -> None:
        """Put a verdict on record."""
        self.found[name] = verdict.outcome
        bench = self.bench
        bench.tell(Checked(bench.now_s, name, title, verdict.outcome, verdict.words, verdict.remedy, verdict.figures))

    def leave_commission(self) -> None:
        """From standing still to what moves the axes; everything is off."""
        self.bench.enter(Trigger.INSPECTED)

    def stand(self) -> None:
        """Back to standing still, where single outputs are tried."""
        if not self.bench.in_phase(Phase.COMMISSION):
            self.bench.enter(Trigger.INSPECT)

    def volts(self, seconds: float) -> Cycle[list[float]]:
        """Every sample of the pin over a time (V), one at least. Raises Trip when none comes."""
        bench, readings = self.bench, list[float]()
        to_volts = bench.machine.sampler.full_scale_v / ADC_COUNTS
        end_s = bench.now_s + seconds - 1e-9
        while bench.now_s < end_s:
            yield ()
            readings += [count * to_volts for count in bench.sense.seen.samples]
        if not readings:
            raise Trip(
                "sampler silent", "no sample of the gap came when one was needed", "look at its cable and supply"
            )
        return readings

    def by_hand(self, words: str, true: Callable[[], bool]) -> Cycle[bool]:
        """Say what a hand is to do at the machine, and wait for it; False when it did not come."""
        self.bench.say(f"By hand: {words} (waiting {self.hands_s:.0f} s)")
        return (yield from until(self.bench, true, self.hands_s))


@dataclass(slots=True, frozen=True)
class Check:
    """One check: the name that options take, a title, the checks that must have been passed before, and its cycle.

    The cycle begins and ends in `commission`, everything off. Where `when` is untrue there is nothing to be checked.
    """

    name: str
    title: str
    needs: tuple[str, ...]
    run: Callable[[Examination], Cycle[Verdict]]
    when: Callable[[Examination], bool] = lambda _: True


def passed(words: str, *figures: Figure) -> Verdict:
    """All is well."""
    return Verdict(PASSED, words, "", figures)


def failed(words: str, remedy: str, *figures: Figure) -> Verdict:
    """Something is wrong, and what to do about it."""
    return Verdict(FAILED, words, remedy, figures)


def not_done(why: str, remedy: str = "", *figures: Figure) -> Verdict:
    """It could not be checked, and why."""
    return Verdict(NOT_DONE, why, remedy, figures)


def mean(readings: Sequence[float]) -> float:
    """Arithmetic mean; 0 of nothing."""
    return sum(readings) / len(readings) if readings else 0.0


def standard_deviation(readings: Sequence[float]) -> float:
    """Of a sample, n - 1 (ISO 230-2, GUM 4.2.2)."""
    if len(readings) < 2:
        return 0.0
    centre = mean(readings)
    return sqrt(sum((each - centre) ** 2 for each in readings) / (len(readings) - 1))
