"""What the operator asked for in the middle of a run: a hold, a measurement. From a safe stand to a safe stand."""

from __future__ import annotations

from controller.core.cycles.ask import ask
from controller.core.cycles.contacts import stop_water
from controller.core.cycles.measure import measure
from controller.core.cycles.recentre import check_place
from controller.core.phases import Trigger
from controller.core.requests import END, GO_ON, HELD, MEASURE_FIRST
from controller.core.rig import Cycle, Rig


def attend(rig: Rig) -> Cycle[bool]:
    """Hold and measure if that is wished for; starts and ends in idle at the clear height. True when it measured."""
    wishes = rig.wishes
    if wishes.hold:
        why, wishes.hold = wishes.hold, ""
        yield from stop_water(rig)
        answer = yield from ask(
            rig,
            HELD,
            f"Held as asked: {why}. The source is isolated, the water is off and the electrode stands clear.",
            f"Nothing has to be done. If the electrode was touched, answer `{MEASURE_FIRST}`.",
            "It goes on where it was left: down to the front again, never by repeating moves.",
            (GO_ON, MEASURE_FIRST, END),
            planned=True,
        )
        wishes.measure = wishes.measure or answer.choice == MEASURE_FIRST
        rig.enter(Trigger.GO_ON)
        yield from check_place(rig)
    measured, wishes.measure = wishes.measure, False
    if measured:
        yield from measure(rig)
    return measured
