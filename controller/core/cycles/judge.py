"""Measuring with judgement: a length that wear can't explain is looked at twice, and then told.

What was predicted says how far off a measurement may be. Beyond that the plate is touched at other places: when those
don't agree, it is dirty; when they do, the rod slipped in its holder, broke, or is another one. That is asked, since
hands must look at the clamp; the length itself is believed as measured.
"""

from __future__ import annotations

from typing import Final

from controller.core.causes import Cause
from controller.core.cycles.ask import ask
from controller.core.cycles.measure import measure
from controller.core.cycles.recentre import check_place, feel
from controller.core.electrode import Electrode
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Rig, guessed_cone_mm

# A measurement this many standard uncertainties off its prediction is confirmed; and from so many on, and so far off
# (mm), no wear explains it: longer a rod never gets by itself, shorter by a millimetre no hole makes it, and for some
# holes together as much again as they were believed to take. Chosen.
SURPRISE: Final = 4.0
SURE: Final = 6.0
LONGER_MM, SHORTER_MM = 0.3, 1.0
# Known no better than this, the rod is new or was handled: its first measurement is confirmed as well (mm). Chosen.
UNKNOWN_MM: Final = 0.5
LEAST_SURPRISE_MM: Final = 0.06


def measure_electrode(rig: Rig, longer_mm: float = 0.0) -> Cycle[None]:
    """Measure; ask when the rod is not the one that was there. From idle to idle. Raises Trip as `measure` does.

    It may be longer than believed by `longer_mm` more than its uncertainty says.
    """
    electrode = rig.electrode
    was_mm, was_u_mm, worn_mm = electrode.tip_mm, electrode.tip_u_mm, electrode.worn_mm
    suspected_mm, electrode.suspected_mm = electrode.suspected_mm, 0.0
    doubt_mm = max(SURPRISE * was_u_mm, LEAST_SURPRISE_MM) if was_u_mm < UNKNOWN_MM else 0.0
    tip_mm = yield from measure(rig, doubt_mm=doubt_mm, longer_mm=longer_mm)
    off_mm = tip_mm - was_mm - suspected_mm
    sure_mm = SURE * was_u_mm
    if was_u_mm >= UNKNOWN_MM or (off_mm < max(sure_mm, LONGER_MM) and -off_mm < max(sure_mm, SHORTER_MM + worn_mm)):
        rig.since_measured.clear()
        return
    yield from ask_about_rod(rig, off_mm)
    if off_mm < 0.0:
        yield from _doubt(rig)
    rig.since_measured.clear()
    yield from check_place(rig)


def _doubt(rig: Rig) -> Cycle[None]:
    """A rod that got shorter all at once runs free in a hole that is not open: feel those made since it was known."""
    for number in (yield from feel(rig, rig.since_measured)):
        rig.doubt(number, "the rod had got shorter, and the hole is not open")


def ask_about_rod(rig: Rig, off_mm: float) -> Cycle[None]:
    """The rod stands out so much more (or less) than it did: ask which rod it is. From idle to idle."""
    longer = "longer" if off_mm > 0.0 else "shorter"
    answer = yield from ask(
        rig,
        topic=Cause.ELECTRODE_CHANGED.value,
        what_happened=f"The electrode is {abs(off_mm):.2f} mm {longer} than it can be by wear: it slipped in its "
        "holder, broke, or is another one.",
        what_to_do="Look at clamp and tip. Answer `same` for the same rod, `new` for a new flat-ended one.",
        what_next="The host proves the source absent, and goes on with the electrode as it was just measured.",
        choices=("same", "new", "end"),
        planned=False,
    )
    if answer.choice == "new":
        new_rod(rig)
    rig.enter(Trigger.GO_ON)
    rig.electrode.unsettle(rig.machine.holder.protrusion_u_mm)
    yield from measure(rig, from_here=True)


def new_rod(rig: Rig) -> None:
    """Another rod is in the holder, with a flat end; how far it stands out is not changed by saying so."""
    electrode: Electrode = rig.electrode
    electrode.renewed(electrode.tip_mm, electrode.tip_u_mm, rig.given.job.electrode.length_mm)
    electrode.flat_end(guessed_cone_mm(rig.given))
    rig.needle = False
