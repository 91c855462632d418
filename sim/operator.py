"""The virtual operator of a rehearsal: slow, willing, and only as exact as a hand.

Answers a prompt after a minute of machine time, with the first choice offered, once the work of the hands is done.
Pushes the electrode out by eye and gauges holes with pins, both with errors drawn from a stream of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Protocol

from controller.core.events import PromptRaised
from controller.core.requests import HELD, Answer, Request
from sim.random import Streams

# Figures frozen in interfaces.md ("Virtual operator"): answer time, advance error, gauging uncertainty.
ANSWER_S: Final = 60.0
ADVANCE_ERROR_MM: Final = 2.0
GAUGING_U_MM: Final = 0.01

# Prompts that ask for work on the electrode that was planned; every other unplanned prompt is a rescue.
ADVANCE, EXHAUSTED = "advance", "electrode-exhausted"

NO_REQUESTS: Sequence[Request] = ()


class Hands(Protocol):
    """What a person can do at the machine; each is refused while the source contact is closed."""

    def advance_electrode(self, protrusion_mm: float) -> None:
        """Push the electrode out to about this protrusion."""

    def new_electrode(self) -> None:
        """Put a whole electrode in, standing out about as far as after an advance."""

    def free_electrode(self) -> None:
        """Free an electrode that is welded, bent or bridged."""


class VirtualOperator:
    """Answers prompts; `protrusion_mm` is how far the electrode shall stand out after an advance.

    Attributes:
        due_s: When the prompt that was seen last is answered.
    """

    __slots__ = ("_answered", "_chance", "_hands", "_protrusion_mm", "_seen", "due_s")

    def __init__(self, hands: Hands, protrusion_mm: float, streams: Streams) -> None:
        self._hands = hands
        self._protrusion_mm = protrusion_mm
        self._chance = streams.named("operator")
        self._seen = -1
        self._answered = -1
        self.due_s = 0.0

    def requests(self, time_s: float, waiting: PromptRaised | None) -> Sequence[Request]:
        """What the operator asks of the core in this tick: an answer when one is due, else nothing."""
        if waiting is None or waiting.prompt == self._answered or waiting.topic == HELD:
            return NO_REQUESTS
        if waiting.prompt != self._seen:
            self._seen, self.due_s = waiting.prompt, time_s + ANSWER_S
        if time_s < self.due_s:
            return NO_REQUESTS
        self._work(waiting)
        self._answered = waiting.prompt
        return (Answer(waiting.prompt, waiting.choices[0]),)

    def obey(self, waiting: PromptRaised, choice: str) -> None:
        """Do what somebody else's answer says was done."""
        if choice == waiting.choices[0] and waiting.prompt != self._answered:
            self._work(waiting)
        self._answered = waiting.prompt

    def gauge(self, true_diameter_mm: float) -> float:
        """The diameter read with pins: the truth and the pins' error (mm)."""
        return true_diameter_mm + GAUGING_U_MM * self._chance.normal()

    def _work(self, prompt: PromptRaised) -> None:
        if prompt.topic == ADVANCE:
            self._hands.advance_electrode(self._by_eye_mm())
        elif prompt.topic == EXHAUSTED:
            self._hands.new_electrode()
        elif not prompt.planned:
            self._hands.free_electrode()

    def _by_eye_mm(self) -> float:
        """A protrusion set by eye: evenly within the error either way."""
        return self._protrusion_mm + ADVANCE_ERROR_MM * (2.0 * self._chance.uniform() - 1.0)
