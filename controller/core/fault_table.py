"""The fault table: every condition that is looked for, how it is noticed, how soon, what happens and how to go on.

One table in code; the README's is generated from it (`table()`), and every row with a `fault` can be brought about on
purpose by that name (`--fault NAME`). Times are from the fault to the reaction, in a machine that is at work there;
where `trip_s` is None the fault is noticed when what is broken is next needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from controller.core.causes import MEANINGS, Cause, Reaction


@dataclass(slots=True, frozen=True)
class Condition:
    """One row.

    Args:
        group: where it arises.
        words: what has happened.
        fault: the name by which it can be brought about; empty when it comes about by itself or by an operator.
        detected: how it is noticed.
        causes: the names under which it may be told, the usual one first; empty when the run just goes on.
        trip_s: longest time from the fault to the reaction, ticks apart; None for "when next needed".
        wire_s: what the link may need beforehand to notice it, over the wires.
        dwell_s: how long it must last.
        clear: what must be so before the run goes on.
        goes_on: the run may also end complete: the fault is ridden out or came too late to matter.
        machine, remedy: what the machine does and what is left to do, where no cause is told.
    """

    group: str
    words: str
    fault: str
    detected: str
    causes: tuple[Cause, ...]
    trip_s: float | None
    dwell_s: float
    clear: str
    goes_on: bool = False
    wire_s: float = 0.0
    machine: str = ""
    remedy: str = ""


C: Final = Cause
PROVEN: Final = "isolation proven"
SAMPLES: Final = "samples arrive"
GOES_ON: Final = "goes on"
NOTHING: Final = "nothing"
RESUME: Final = "`gapwright resume RUN`"

# A board that says nothing is noticed after the longest silence of the links (SILENT_S of link/ack.py), and the time to
# the next question that it would have to answer (POLL_S there).
BOARD_SILENT_S: Final = 0.6 + 0.2

# Figures: guards.py (dwell), contacts.py (time-outs), electrics.md (hold-up and release of the contact).
CONDITIONS: Final[tuple[Condition, ...]] = (
    Condition(
        "sampler", "stream stops", "stream-stops", "age of the last sample", (C.SAMPLER_SILENT,), 0.1, 0.1, SAMPLES
    ),
    Condition(
        "sampler",
        "resets",
        "sampler-resets",
        "age of the last sample, its banner",
        (C.SAMPLER_SILENT,),
        0.1,
        0.1,
        SAMPLES,
    ),
    Condition(
        "sampler", "stream garbles", "stream-garbles", "age of the last sample", (C.SAMPLER_SILENT,), 0.1, 0.1, SAMPLES
    ),
    Condition(
        "sampler",
        "gap wire open",
        "gap-wire-open",
        "reads contact where nothing can be touched",
        (C.SENSING_DEAD, C.ELECTRODE_STUCK, C.SOURCE_DEAD),
        None,
        0.0,
        PROVEN,
        goes_on=True,
    ),
    Condition(
        "sampler",
        "gap wire grounded",
        "gap-wire-grounded",
        "reads contact where nothing can be touched",
        (C.SENSING_DEAD, C.ELECTRODE_STUCK, C.SOURCE_DEAD),
        None,
        0.0,
        PROVEN,
        goes_on=True,
    ),
    Condition(
        "board",
        "resets",
        "board-reset",
        "its banner, or no answer",
        (C.BOARD_LOST,),
        0.0,
        0.0,
        "axes referenced",
        wire_s=BOARD_SILENT_S,
    ),
    Condition("board", "alarm or limit", "board-alarm", "it says so", (C.BOARD_ALARM,), 0.0, 0.0, "axes referenced"),
    Condition(
        "board",
        "no reply, lost replies",
        "board-silent",
        "no answer",
        (C.BOARD_LOST,),
        0.0,
        0.0,
        "axes referenced",
        wire_s=BOARD_SILENT_S,
    ),
    Condition(
        "board",
        "asks for lines again and again (`ack`)",
        "resend-storm",
        "more requests than noise explains",
        (C.BOARD_LOST,),
        None,
        0.0,
        "axes referenced",
        goes_on=True,
    ),
    Condition(
        "board",
        "steps lost",
        "lost-steps",
        "a finished hole is felt from inside, before and after referencing",
        (C.STEPS_LOST,),
        None,
        0.0,
        "axes referenced",
        goes_on=True,
    ),
    Condition(
        "contacts",
        "source stuck on",
        "contact-stuck",
        "mirror contact",
        (C.SOURCE_STUCK_ON, C.SOURCE_NOT_ISOLATED),
        None,
        0.15,
        PROVEN,
    ),
    Condition(
        "contacts",
        "source stuck off",
        "contact-dead",
        "mirror contact",
        (C.CONTACT_DROPPED, C.SOURCE_STUCK_OFF),
        0.2,
        0.15,
        "contact closes",
        goes_on=True,
    ),
    Condition(
        "contacts",
        "source still there while sensing",
        "contact-leaks",
        "voltage with everything off",
        (C.SOURCE_STILL_THERE,),
        None,
        0.0,
        PROVEN,
        goes_on=True,
    ),
    Condition(
        "contacts",
        "contact chatters",
        "contact-chatters",
        "six changes of the mirror contact in a second",
        (C.CONTACT_CHATTERS, C.SOURCE_STUCK_OFF),
        0.3,
        0.0,
        "contact closes",
        goes_on=True,
    ),
    Condition(
        "contacts",
        "sensing feed dead",
        "sensing-dead",
        "reads contact where nothing can be touched",
        (C.SENSING_DEAD,),
        None,
        0.0,
        PROVEN,
        goes_on=True,
    ),
    Condition(
        "contacts",
        "heartbeat supply dead",
        "no-heartbeat-supply",
        "mirror contact; then no flow, since the pump hangs on it too",
        (C.CONTACT_DROPPED, C.SOURCE_STUCK_OFF, C.NO_FLOW),
        0.3,
        0.15,
        "contact closes",
        goes_on=True,
    ),
    Condition(
        "safety inputs", "stop pressed", "stop-pressed", "its copy", (C.STOP_PRESSED,), 0.0, 0.0, "stop released"
    ),
    Condition(
        "safety inputs",
        "guard opened in mid-spark",
        "guard-opened",
        "its switch",
        (C.GUARD_OPEN,),
        0.0,
        0.0,
        "guard closed",
    ),
    Condition("safety inputs", "tank low", "tank-low", "its switch", (C.TANK_LOW,), 1.0, 1.0, "level high"),
    Condition(
        "water",
        "flow stops",
        "flow-stops",
        "flow switch",
        (C.FLOW_LOST, C.NO_FLOW),
        0.7,
        0.3,
        "flow confirmed",
        goes_on=True,
    ),
    Condition(
        "water",
        "too conductive to sense through",
        "water-conducts",
        "the line of a wet touch; a lifted tip that still reads metal",
        (C.TOO_WET,),
        None,
        0.0,
        "sensing path opens",
        goes_on=True,
    ),
    Condition(
        "gap",
        "electrode welded",
        "welded",
        "still in contact out of the hole, sensed with the source off",
        (C.ELECTRODE_STUCK,),
        15.0,
        0.0,
        "sensing path opens",
    ),
    Condition(
        "gap",
        "bridged by debris",
        "bridged",
        "long lows that answer to a retreat",
        (),
        None,
        0.0,
        "",
        goes_on=True,
        machine="lifts the tip out of the bridge, goes on",
        remedy=NOTHING,
    ),
    Condition(
        "gap",
        "source dead",
        "source-dead",
        "no voltage over a gap that was sensed open",
        (C.SOURCE_DEAD, C.NO_REMOVAL),
        None,
        5.0,
        "source shows voltage",
        goes_on=True,
    ),
    Condition(
        "gap",
        "drop-out storm",
        "drop-out-storm",
        "forty long lows in twelve seconds, away for more than half of it",
        (C.DROP_OUTS,),
        None,
        12.0,
        "source shows voltage",
        goes_on=True,
    ),
    Condition(
        "gap",
        "never breaks through",
        "plate-thick",
        "the front is whole where the room below ends",
        (C.NO_BREAKTHROUGH, C.ELECTRODE_CHANGED),
        None,
        0.0,
        "",
        goes_on=True,
    ),
    Condition(
        "gap",
        "breaks through early",
        "plate-thin",
        "the front vanishes; the electrode is measured, and is as long as it was",
        (),
        None,
        0.0,
        "",
        goes_on=True,
        machine="finishes the hole, goes on",
        remedy="gauge the hole; is the work as thick as the job says?",
    ),
    Condition(
        "gap",
        "strikes what lies behind",
        "no-room-below",
        "through, and no way on",
        (C.STRUCK_BEHIND,),
        None,
        0.0,
        "",
        goes_on=True,
    ),
    Condition(
        "electrode",
        "exhausted, jammed in its holder, or worn to a needle",
        "electrode-exhausted",
        "its length, measured and predicted; a push that did not lengthen it",
        (C.ELECTRODE_EXHAUSTED, C.ADVANCE),
        None,
        0.0,
        "measured again",
        goes_on=True,
    ),
    Condition(
        "electrode",
        "broken",
        "electrode-broken",
        "the front vanishes, or a length that wear can't explain; holes made meanwhile are felt",
        (C.ELECTRODE_CHANGED,),
        None,
        0.0,
        "measured again",
        goes_on=True,
    ),
    Condition(
        "electrode",
        "slipped in the holder",
        "electrode-slipped",
        "the front vanishes, or a length that wear can't explain; holes made meanwhile are felt",
        (C.ELECTRODE_CHANGED,),
        None,
        0.0,
        "measured again",
        goes_on=True,
    ),
    Condition(
        "electrode",
        "not where expected",
        "electrode-misplaced",
        "nothing touched where the plate should be",
        (C.NOTHING_AT_PLATE, C.NOTHING_AT_WORK, C.WORK_MISSING, C.ELECTRODE_CHANGED),
        None,
        0.0,
        "measured again",
        goes_on=True,
    ),
    Condition(
        "set-up",
        "reference plate not grounded",
        "plate-not-grounded",
        "nothing touched where the plate should be",
        (C.NOTHING_AT_PLATE,),
        None,
        0.0,
        "plate touched",
        goes_on=True,
    ),
    Condition(
        "set-up",
        "reference plate dirty",
        "plate-dirty",
        "touches at three places don't agree",
        (C.PLATE_DIRTY, C.CONTACT_LOST, C.SENSING_CLOSED),
        None,
        0.0,
        "plate touched alike",
        goes_on=True,
    ),
    Condition(
        "set-up",
        "work missing",
        "work-missing",
        "nothing touched, or no spark, where the work should be",
        (C.WORK_MISSING, C.NOTHING_AT_WORK, C.WORK_MOVED, C.NO_REMOVAL),
        None,
        0.0,
        "work touched",
        goes_on=True,
    ),
    Condition(
        "set-up",
        "work moved",
        "work-moved",
        "a finished hole is felt from inside, before and after referencing; the face is mapped again",
        (C.WORK_MOVED,),
        None,
        0.0,
        "work back in its place",
        goes_on=True,
    ),
    Condition(
        "set-up",
        "surface outside its map",
        "work-raised",
        "contact above a hole; the face is touched there",
        (C.FACE_OFF, C.SENSING_CLOSED, C.WORK_MOVED, C.ELECTRODE_STUCK, C.SOURCE_DEAD),
        None,
        0.0,
        "face touched where it should be",
        goes_on=True,
    ),
    Condition(
        "host",
        "killed",
        "host-killed",
        "the gate misses the heartbeat",
        (),
        None,
        0.0,
        "",
        goes_on=True,
        machine="source off within 120 ms, water within 2 s; stands where it was",
        remedy=RESUME,
    ),
    Condition(
        "host",
        "asked to terminate",
        "host-terminated",
        "the signal",
        (),
        None,
        0.0,
        "",
        goes_on=True,
        machine="source off, tip lifted, water off, ends",
        remedy=RESUME,
    ),
    Condition(
        "host",
        "freezes",
        "host-freezes",
        "time between two ticks with the source on",
        (C.HOST_STOOD_STILL,),
        0.5,
        0.1,
        "",
    ),
    Condition(
        "host",
        "overruns",
        "host-overruns",
        "ticks left out are counted and told",
        (),
        None,
        0.0,
        "",
        goes_on=True,
        machine=GOES_ON,
        remedy="if it is told often: close what else runs on the computer",
    ),
    Condition(
        "host",
        "disk full, read-only",
        "disk-full",
        "a commit that fails; it is tried again while the run ends in order",
        (C.NO_RECORD,),
        5.0,
        0.0,
        "the disk takes it",
    ),
    Condition(
        "host",
        "screen killed",
        "",
        "nothing in the loop knows of screens",
        (),
        None,
        0.0,
        "",
        goes_on=True,
        machine=GOES_ON,
        remedy="`gapwright watch RUN` opens another",
    ),
    Condition(
        "host",
        "clock set back",
        "",
        "nothing in the loop reads the time of day",
        (),
        None,
        0.0,
        "",
        goes_on=True,
        machine=GOES_ON,
        remedy=NOTHING,
    ),
)


def of_fault(name: str) -> Condition:
    """The row that a fault brings about. KeyError for a fault that only commissioning looks for."""
    return {row.fault: row for row in CONDITIONS if row.fault}[name]


def table() -> str:
    """The table for the README (a test compares the two)."""
    lines = [
        "| what happens (`--fault NAME`) | how it is noticed | told as | within | the machine | you |",
        "|---|---|---|---|---|---|",
    ]
    return "\n".join([*lines, *(_line(row) for row in CONDITIONS)]) + "\n"


def _line(row: Condition) -> str:
    name = f" (`{row.fault}`)" if row.fault else ""
    told = ", ".join(f"*{cause.value}*" for cause in row.causes[:1]) or "–"
    within = "when next needed"
    if row.trip_s is not None:
        longest_s = row.trip_s + row.wire_s
        within = f"{longest_s:g} s" if longest_s else "at once"
    meaning = MEANINGS[row.causes[0]] if row.causes else None
    machine = _SHORT[meaning.reaction] if meaning else row.machine
    remedy = meaning.remedy if meaning else row.remedy
    cells = (f"{row.group}: {row.words}{name}", row.detected, told, within if row.causes else "–", machine, remedy)
    return f"| {' | '.join(cells)} |"


_SHORT: Final = {
    Reaction.ISOLATE: "source off at once, tip lifted, water off, ends",
    Reaction.STOP: "nothing was on; ends",
    Reaction.HOLD: "holds, safe, and asks",
    Reaction.LADDER: "clears it by itself",
    Reaction.NOTE: "leaves the hole, goes on, tells",
}


if __name__ == "__main__":
    print(table(), end="")  # noqa: T201 - for whoever keeps the README
