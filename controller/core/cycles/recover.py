"""Short recovery: a ladder that needs nobody.

Rung 1: a small retreat, which is also the test that tells a short from a drop-out. Rung 2: a larger retreat and a
flush. Rung 3: out of the hole, and a flush; what is torn free on the way up goes straight back. What is not, or comes
back again and again: source isolated, a flush, water off; the gap is sensed on the safe path before the hole is
approached again. Still in contact: the electrode is welded, bent or bridged; a spindle turns it, else the operator
is asked, the cause named.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from controller.core.causes import Cause, trip
from controller.core.commands import Output, Switch, Turn
from controller.core.cycles.ask import ask
from controller.core.cycles.contacts import OPEN_V, isolate, prove, release, stop_spindle, stop_water
from controller.core.cycles.wait import drain, pause, until
from controller.core.events import DROP_OUT, ShortBegan, ShortEnded, SourceOpenedHot
from controller.core.path import Slide
from controller.core.phases import Phase, Trigger
from controller.core.rig import Cycle, Rig
from controller.core.window import METAL_V
from controller.settings.units import UM_PER_MM

# Rung 1 opens about one usual gap (10–100 µm, references §3); rung 2 draws fresh water in over several rod-gaps.
SMALL_UM: Final = 40.0
LARGE_UM: Final = 400.0
# Retreat speed: chosen so that a small retreat, play included, takes about 20 ms.
RETREAT_UM_S: Final = 5000.0
# High for two ticks is enough: metal or a bridge gives none.
CLEAR_S: Final = 0.02
# How long rung 1 waits: a drop-out that the retreat was spent on is usually over by then; longest drop-outs on top of
# it are waited for at the same place as long as the filter says "source off".
RUNG_S = (0.15, 0.6, 3.0)
FLUSH_S: Final = 0.5  # the jet changes the water of so small a hole many times meanwhile; common practice, no source
# Live without removal is allowed for 10 s (interfaces.md); the ladder, too, gives up a second before.
NO_REMOVAL_S: Final = 9.0
# A flush, and from the start height down to the front at return speed, the last stretch slowly. Chosen.
WAY_BACK_S: Final = 4.0
PULL_UM_S: Final = 2000.0  # the pull on a weld is slow, so that the rod is not bent: chosen so
PULL_UM: Final = 500.0  # and goes on for no longer than a quarter of a second beyond its end. Chosen
# Asked so often in vain, it is no electrode that is stuck. Chosen.
ASKED_MOST: Final = 3
OFF_PATIENCE_S: Final = 2.0  # five times the longest drop-out (0.4 s, electrics.md); chosen


class Freed(StrEnum):
    """How the ladder ended."""

    NEVER_SHORTED = "a drop-out after all"  # live, clear, the front as near as it was
    IN_HOLE = "in the hole"  # live, clear, to be approached again from where the tip stands
    OUT = "out of the hole"  # isolated, idle, at the start height
    HELPED = "by the operator"


# Endings that leave the source on, in approach.
LIVE = (Freed.IN_HOLE, Freed.NEVER_SHORTED)


def recover(rig: Rig, slide: Slide, start_um: float, first_rung: int) -> Cycle[Freed]:
    """Climb the ladder from `first_rung` until the short is gone.

    Args:
        rig: the shared state.
        slide: the axis along the hole's path.
        start_um: arc length of the start height, out of the hole.
        first_rung: 2 when small retreats have just been tried in vain here, 3 when larger ones have.
    """
    began_s = rig.now_s
    rig.tell(ShortBegan(rig.now_s, rig.hole, rig.feed_um / UM_PER_MM))
    rig.enter(Trigger.SHORT)
    for rung in range(first_rung, 3):
        # Above the start height there is nothing to be gained, and lift upon lift would lead out of the travel.
        yield slide.back(SMALL_UM if rung == 1 else LARGE_UM, RETREAT_UM_S, no_further_um=start_um)
        yield from drain(rig)
        if (yield from _opened(rig, RUNG_S[rung - 1])):
            if rig.sense.gap.last_was_off:
                return _ended(rig, rung, began_s, DROP_OUT, Freed.NEVER_SHORTED)
            if rung == 2:
                rig.say("Short cleared; flushing")
                yield from pause(rig, FLUSH_S)
            return _ended(rig, rung, began_s, "touch" if rung == 1 else "debris", Freed.IN_HOLE)
    rig.say("Short persists: out of the hole")
    yield slide.back_to(start_um, RETREAT_UM_S)
    yield from drain(rig)
    torn = first_rung < 3 and (yield from _opened(rig, RUNG_S[1]))
    if torn and rig.sense.idle_s < NO_REMOVAL_S - WAY_BACK_S:
        # Torn free on the way up: nothing bridges the gap any more, and the way back down is free.
        rig.say("Short cleared; flushing")
        yield from pause(rig, FLUSH_S)
        return _ended(rig, 3, began_s, "debris bridge or weld torn free", Freed.IN_HOLE)
    opened = yield from isolate(rig, _patience_s(rig), FLUSH_S)
    if not opened:
        # A weld tears off once the soft mechanics are wound up further than it holds: pull as far as there is room,
        # and as there is time before the source has stood live without removal for too long.
        yield from _pull(rig, slide)
        opened = yield from isolate(rig, _patience_s(rig), FLUSH_S)
    if opened:
        rig.enter(Trigger.WITHDRAW)
        rig.enter(Trigger.CLEARED)
        return _ended(rig, 3, began_s, "debris bridge or weld torn free", Freed.OUT)
    return (yield from _stuck(rig, began_s))


def _pull(rig: Rig, slide: Slide) -> Cycle[None]:
    """Up until the contact ends, as far as room and patience go; a source that had shut itself off ends it, too."""
    rig.say("Still in contact: pulling up to the clear height")
    room_um = max(rig.clear_z_um() - rig.sense.seen.z_um, 0.0)
    end_um = slide.axis_um - min(room_um, PULL_UM_S * _patience_s(rig))
    while slide.axis_um > end_um and rig.sense.open_s < CLEAR_S:
        yield slide.back_to(max(slide.axis_um - PULL_UM, end_um), PULL_UM_S)
        yield from drain(rig)


def _patience_s(rig: Rig) -> float:
    """How long the last rung may wait: what is left of the time that the source may stand live without removal."""
    return max(min(RUNG_S[2], NO_REMOVAL_S - rig.sense.idle_s), 0.0)


def flush(rig: Rig, slide: Slide) -> Cycle[None]:
    """Lift and let fresh water in, when the hole gets no deeper though nothing is shorted."""
    rig.enter(Trigger.SHORT)
    rig.say("No deeper: lifting to flush")
    yield slide.back(LARGE_UM, RETREAT_UM_S)
    yield from drain(rig)
    yield from pause(rig, FLUSH_S)
    rig.enter(Trigger.FREED)


def _opened(rig: Rig, patience_s: float) -> Cycle[bool]:
    """Wait for the gap to read high; longer while the filter takes the low for a drop-out.

    The last rung's time is kept back: the source may not stand live without removal for longer.
    """
    sense, start_s = rig.sense, rig.now_s
    left_s = max(NO_REMOVAL_S - RUNG_S[2] - sense.idle_s, 0.0)

    def clear() -> bool:
        return sense.open_s >= CLEAR_S

    if (yield from until(rig, clear, min(patience_s, left_s))):
        return True
    # While the low is taken for a drop-out, and once it is over until the gap counts as clear.
    most_s = min(OFF_PATIENCE_S, left_s)
    while (not sense.long_low or sense.gap.p_off > sense.gap.p_shorted) and rig.now_s - start_s < most_s:
        yield ()
        if clear():
            return True
    return clear()


def _ended(rig: Rig, rung: int, began_s: float, cause: str, freed: Freed) -> Freed:
    rig.tell(ShortEnded(rig.now_s, rig.hole, rung, rig.now_s - began_s, cause))
    if freed in LIVE:
        rig.enter(Trigger.FREED)
    return freed


def _stuck(rig: Rig, began_s: float) -> Cycle[Freed]:
    """Contact even out of the hole: the source has to open under it. Then sense, turn, and at last ask."""
    cause = "welded, bent or bridged electrode"
    rig.enter(Trigger.TRIP)
    yield (Switch(Output.SOURCE, False, hot=True),)
    rig.tell(SourceOpenedHot(rig.now_s, rig.locks.hot_openings, cause))
    yield from stop_spindle(rig)
    yield from stop_water(rig)
    rig.say("Still in contact out of the hole: source off under it, then looking on the sensing path")
    rig.enter(Trigger.ACKNOWLEDGE)
    yield from pause(rig, FLUSH_S)
    if (yield from _senses_open(rig)):
        rig.enter(Trigger.GO_ON)
        return _ended(rig, 3, began_s, "debris bridge or weld torn free", Freed.OUT)
    if rig.machine.spindle.fitted and (yield from _turned_free(rig)):
        rig.enter(Trigger.GO_ON)
        return _ended(rig, 4, began_s, cause, Freed.OUT)
    yield from ask_for_help(rig, f"The electrode is still in contact with the work outside hole {rig.hole}: {cause}.")
    rig.enter(Trigger.GO_ON)
    return _ended(rig, 5, began_s, cause, Freed.HELPED)


def ask_for_help(rig: Rig, what_happened: str) -> Cycle[None]:
    """Ask for the electrode to be freed, and prove that it is. Starts in idle or hold, ends in hold."""
    again = ""
    for _ in range(ASKED_MOST):
        yield from ask(
            rig,
            topic=Cause.ELECTRODE_STUCK.value,
            what_happened=what_happened + again,
            what_to_do="Free the electrode, clear bridges, straighten a bent rod. It must stand out as before. If "
            "nothing is stuck, look at the gap wire.",
            what_next="The host proves the source absent, measures the electrode and goes on with this hole.",
            choices=("done", "end"),
            planned=False,
        )
        open_v = yield from prove(rig)
        yield from release(rig)
        if open_v > OPEN_V:
            return
        again = f" It was answered, and the sensing path still reads {open_v:.2f} V."
    raise trip(Cause.SENSING_DEAD if open_v < METAL_V else Cause.TOO_WET, f"{open_v:.2f} V, asked {ASKED_MOST} times")


def _senses_open(rig: Rig) -> Cycle[bool]:
    """Prove isolation and read the sensing path, in hold; the feed is off again afterwards."""
    open_v = yield from prove(rig)
    yield from release(rig)
    return open_v > OPEN_V


def _turned_free(rig: Rig) -> Cycle[bool]:
    """Turn the spindle a little both ways and sense again."""
    # A second each way twists a weld off or bends no more than it was: common practice, no source.
    for rev_min in (rig.machine.spindle.rev_min, -rig.machine.spindle.rev_min):
        yield (Turn(rev_min),)
        yield from pause(rig, 1.0)
    yield (Turn(0.0),)
    return (yield from _senses_open(rig))


def short_declared(rig: Rig) -> bool:
    """True when a short is probable enough to be answered with the small retreat."""
    return rig.sense.long_low and rig.sense.gap.answerable and rig.in_phase(Phase.APPROACH, Phase.ERODE)
