"""The causes that a run can name: what each means, what the machine does, and how a person goes on.

One table for guards, cycles and prompts; `fault_table.py` says what brings each of them about. A fault ends the run
with the source isolated; a prompt holds it. Either way the way on is `gapwright resume`, or an answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Reaction(StrEnum):
    """What the machine does by itself."""

    ISOLATE = "source off at once, tip lifted clear if the board can be trusted, water off; the run ends"
    STOP = "nothing was switched on or is left on; the run ends"
    HOLD = "tip lifted clear, source off, water off; waits for an answer, for hours if need be"
    LADDER = "cleared by itself: small retreat, larger one with a flush, out of the hole"
    NOTE = "put on record; the hole is left and told in the report, the run goes on"


class Cause(StrEnum):
    """Every cause by the name under which it is told."""

    HOST_STOOD_STILL = "host stood still"
    SAMPLER_SILENT = "sampler silent"
    STOP_PRESSED = "stop pressed"
    GUARD_OPEN = "guard open"
    TANK_LOW = "tank low"
    BOARD_ALARM = "board alarm"
    BOARD_LOST = "board lost"
    BOARD_STUCK = "board stuck"
    HOMING_FAILED = "homing failed"
    STEPS_LOST = "steps lost"
    FLOW_LOST = "flow lost"
    NO_FLOW = "no flow"
    TOO_WET = "too wet to sense"
    NO_REMOVAL = "no removal"
    LIVE_TOO_LONG = "live too long"
    SOURCE_NOT_ISOLATED = "source not isolated"
    SOURCE_STUCK_ON = "source stuck on"
    SOURCE_STILL_THERE = "source still there"
    SOURCE_STUCK_OFF = "source stuck off"
    CONTACT_DROPPED = "source contact dropped"
    CONTACT_CHATTERS = "source contact chatters"
    SOURCE_DEAD = "source dead"
    DROP_OUTS = "drop-out storm"
    SENSING_DEAD = "sensing path dead"
    SENSING_CLOSED = "sensing path closed"
    GAP_DOES_NOT_OPEN = "gap does not open"
    NOTHING_AT_PLATE = "nothing found at the reference plate"
    NOTHING_AT_WORK = "nothing found at the work"
    PLATE_DIRTY = "reference plate dirty"
    CONTACT_LOST = "contact lost"
    WORK_MISSING = "work missing"
    WORK_MOVED = "work moved"
    FACE_OFF = "face outside its map"
    NO_BREAKTHROUGH = "never broke through"
    STRUCK_BEHIND = "struck what lies behind"
    ELECTRODE_STUCK = "electrode-stuck"
    ELECTRODE_CHANGED = "electrode-changed"
    ELECTRODE_EXHAUSTED = "electrode-exhausted"
    ADVANCE = "advance"
    NO_RECORD = "no record"
    PROGRAM = "fault of the program"


@dataclass(slots=True, frozen=True)
class Meaning:
    """What a cause means, what the machine does, and what a person does before going on."""

    words: str
    remedy: str
    reaction: Reaction = Reaction.ISOLATE


# Wherever the source may be on something that hands come near.
DEAD_FIRST: Final = "switch the supply off at its isolator, wait 5 s, check with a meter; then"

MEANINGS: Final[dict[Cause, Meaning]] = {
    Cause.HOST_STOOD_STILL: Meaning(
        "the program stood still for so long that the fail-safe gate has let the source go",
        "find out what held the computer up (suspended? overloaded?)",
    ),
    Cause.SAMPLER_SILENT: Meaning(
        "no sample of the gap arrives any more: the sampler hangs, has reset, or its wire is broken",
        "look at the sampler's cable and supply",
    ),
    Cause.STOP_PRESSED: Meaning(
        "the hard-wired stop was pressed; its copy says so", "find out why, then release the stop"
    ),
    Cause.GUARD_OPEN: Meaning("the guard was opened with the source on the electrode", "close the guard"),
    Cause.TANK_LOW: Meaning("the tank level switch says that the water is low", "fill the tank, look for a leak"),
    Cause.BOARD_ALARM: Meaning(
        "the motion board reports an alarm: the axis positions are unknown", "look for what the axes ran into"
    ),
    Cause.BOARD_LOST: Meaning(
        "the motion board does not answer, has reset, or refused what it was sent",
        "look at its cable, its supply and interference",
    ),
    Cause.BOARD_STUCK: Meaning(
        "the motion board has not done its moves in a time in which it could have", "look at the board and its cable"
    ),
    Cause.HOMING_FAILED: Meaning("the axes were not referenced in time", "look at the end switches"),
    Cause.STEPS_LOST: Meaning(
        "holes felt from inside fit together no more: the axes lost steps between them",
        "look for what the axes ran into, for a slipping coupling, a weak driver; look at the holes in the report",
    ),
    Cause.FLOW_LOST: Meaning(
        "the water stopped with the source on the electrode", "look at tank, filter, pump and flow switch"
    ),
    Cause.NO_FLOW: Meaning(
        "the pump is on but the flow switch does not say so",
        "look at tank, filter, pump and flow switch, and at the heartbeat supply on which the pump hangs",
        Reaction.STOP,
    ),
    Cause.TOO_WET: Meaning(
        "the sensing path reads water where the gap is wide open",
        "dry electrode and plate, change water that conducts too much",
        Reaction.STOP,
    ),
    Cause.NO_REMOVAL: Meaning(
        "the source stood on the electrode for ten seconds and nothing was removed",
        "is the source alive, is the gap wire whole, is the work in place?",
    ),
    Cause.LIVE_TOO_LONG: Meaning(
        "the source stood on a dry electrode for longer than commissioning may", "keep the run folder and report it"
    ),
    Cause.SOURCE_NOT_ISOLATED: Meaning(
        "the source contact was commanded off and its mirror contact says that it is closed",
        f"{DEAD_FIRST} inspect the source contact",
    ),
    Cause.SOURCE_STUCK_ON: Meaning(
        "the mirror contact says that the source is still on the electrode", f"{DEAD_FIRST} inspect the source contact"
    ),
    Cause.SOURCE_STILL_THERE: Meaning(
        "the gap has voltage with source and sensing feed both off",
        f"{DEAD_FIRST} inspect source contact and front end",
        Reaction.STOP,
    ),
    Cause.SOURCE_STUCK_OFF: Meaning(
        "the source contact was commanded on and its mirror contact says that it stayed open",
        "look at the heartbeat supply, the coil and the contact",
    ),
    Cause.CONTACT_DROPPED: Meaning(
        "the source contact was commanded on and its mirror contact says that it is open",
        "look at heartbeat supply, coil and contact",
    ),
    Cause.CONTACT_CHATTERS: Meaning(
        "the source contact opens and closes by itself", f"{DEAD_FIRST} inspect coil supply, terminals and contact"
    ),
    Cause.SOURCE_DEAD: Meaning(
        "the source is on the electrode, the gap was sensed open a moment ago, and no voltage has come",
        "look at the supply, its isolator and its fuses, at gap wire and front end",
    ),
    Cause.DROP_OUTS: Meaning(
        "the source is away more than it is there, with nothing shorted",
        "look at the supply, its load, its mains and its temperature",
    ),
    Cause.SENSING_DEAD: Meaning(
        "the sensing path reads contact where nothing can be touched",
        "look at the gap wire (broken? grounded?), the sensing feed and its switch, and for a bridge at the holder",
        Reaction.STOP,
    ),
    Cause.SENSING_CLOSED: Meaning(
        "the sensing path reads contact above the place to be touched, and is open further up",
        "look for a bridge, a bent electrode, or water standing there; clean, dry",
        Reaction.STOP,
    ),
    Cause.GAP_DOES_NOT_OPEN: Meaning(
        "the gap still reads low with the electrode lifted clear of the work", f"{DEAD_FIRST} free the electrode"
    ),
    Cause.NOTHING_AT_PLATE: Meaning(
        "nothing was touched where the reference plate should be",
        "is the plate there and grounded, does the electrode stand out as far as the machine file says?",
        Reaction.STOP,
    ),
    Cause.NOTHING_AT_WORK: Meaning(
        "nothing was touched where the work should be",
        "is the work there and grounded, does the electrode stand out as it was measured?",
        Reaction.STOP,
    ),
    Cause.PLATE_DIRTY: Meaning(
        "the reference plate could not be touched twice alike", "clean and dry the plate", Reaction.STOP
    ),
    Cause.CONTACT_LOST: Meaning(
        "a touch that was there a moment ago could not be repeated",
        "look at the electrode's clamp, at the sensing wire, and whether what was touched is still there and grounded",
        Reaction.STOP,
    ),
    Cause.WORK_MISSING: Meaning(
        "no spark came down to far below where the work should be",
        "is the work in place, is the source alive, does the electrode stand out as measured?",
    ),
    Cause.WORK_MOVED: Meaning(
        "the work is not where it was",
        "put it back against its stops, or start a new run with the holes that are left",
        Reaction.STOP,
    ),
    Cause.FACE_OFF: Meaning(
        "the face of the work is not where the touches at its corners say",
        "is the work bowed, a clamp or a chip in the way? Clear it, or add touch points to the job",
        Reaction.STOP,
    ),
    Cause.NO_BREAKTHROUGH: Meaning(
        "the room below was used up and the front never came out",
        "is the work as thick as the job says?",
        Reaction.NOTE,
    ),
    Cause.STRUCK_BEHIND: Meaning(
        "through the work, and no way on below it", "is `clear_below_mm` really there under the plate?", Reaction.NOTE
    ),
    Cause.ELECTRODE_STUCK: Meaning(
        "the electrode is in contact outside the hole: welded, bent or bridged",
        "free the electrode, clear bridges, straighten a bent rod; it must stand out as before",
        Reaction.HOLD,
    ),
    Cause.ELECTRODE_CHANGED: Meaning(
        "the electrode does not stand out as it did: it slipped, broke, or is another one",
        "look at the clamp and the tip; answer `same` for the same rod, `new` for a new flat-ended one",
        Reaction.HOLD,
    ),
    Cause.ELECTRODE_EXHAUSTED: Meaning(
        "the rod is used up, or worn to a needle longer than the room below the plate",
        "put a new flat-ended rod in",
        Reaction.HOLD,
    ),
    Cause.ADVANCE: Meaning("the rod stands out too little for the next hole", "push it down, clamp it", Reaction.HOLD),
    Cause.NO_RECORD: Meaning(
        "the record of the run can't be written any more", "make room on the disk, or give the folder back its rights"
    ),
    Cause.PROGRAM: Meaning(
        "the program asked for something that its own rules forbid", "keep the run folder and report it"
    ),
}


class Trip(Exception):
    """Something is wrong with the machine: end in `fault`, the cause named."""

    def __init__(self, cause: str, meaning: str, remedy: str) -> None:
        super().__init__(cause)
        self.cause, self.meaning, self.remedy = cause, meaning, remedy


def trip(cause: Cause, detail: str = "") -> Trip:
    """The Trip of a cause, with what is known of this very case."""
    meaning = MEANINGS[cause]
    return Trip(cause.value, f"{meaning.words} ({detail})" if detail else meaning.words, meaning.remedy)
