"""Asking the operator: safe first, then the words, then proof before belief."""

from __future__ import annotations

from math import inf

from controller.core.events import PromptAnswered, PromptRaised
from controller.core.phases import Phase, Trigger
from controller.core.requests import Answer
from controller.core.rig import Bench, Cycle


class EndRun(Exception):
    """The run is to end here: `outcome` is `held` or `aborted`."""

    def __init__(self, outcome: str, reason: str) -> None:
        super().__init__(reason)
        self.outcome, self.reason = outcome, reason


# Said in full wherever hands go near the electrode (electrics.md, "What is not software").
DEAD = "Switch the supply off at its isolator, wait 5 s, check with a meter that the electrode is dead."
HANDS_OFF = f"{DEAD} Only then reach in. Switch the supply on again afterwards, hands away, guard closed."


def ask(
    rig: Bench,
    topic: str,
    what_happened: str,
    what_to_do: str,
    what_next: str,
    choices: tuple[str, ...],
    *,
    planned: bool,
) -> Cycle[Answer]:
    """Hold, raise a prompt, wait for its answer (hours if need be). Starts in idle or hold, ends in hold.

    Raises EndRun when the answer is `end`.
    """
    if not rig.in_phase(Phase.HOLD):
        rig.enter(Trigger.HOLD)
    return (
        yield from pose(rig, topic, what_happened, f"{HANDS_OFF} {what_to_do}", what_next, choices, planned=planned)
    )


def pose(
    rig: Bench,
    topic: str,
    what_happened: str,
    what_to_do: str,
    what_next: str,
    choices: tuple[str, ...],
    *,
    planned: bool,
) -> Cycle[Answer]:
    """Raise a prompt where the machine stands, and wait for its answer. Raises EndRun when the answer is `end`."""
    rig.prompts += 1
    number = rig.prompts
    rig.say(f"Waiting for the operator: {topic}")
    rig.tell(PromptRaised(rig.now_s, number, topic, what_happened, what_to_do, what_next, choices, planned, rig.hole))
    while True:
        rig.rests_until_s = inf
        yield ()
        for request in rig.requests:
            if isinstance(request, Answer) and request.prompt == number and request.choice in choices:
                rig.tell(PromptAnswered(rig.now_s, number, request.choice, request.reading))
                if request.choice == "end":
                    raise EndRun("held", f"the operator ended the run at the prompt '{topic}'")
                if not rig.sense.seen.guard_closed:
                    rig.say("Close the guard: nothing moves before that")
                    while not rig.sense.seen.guard_closed:
                        yield ()
                return request
