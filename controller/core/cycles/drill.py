"""One hole: travel, prove, close, approach, erode to full size through the far face, withdraw, isolate.

Depth is counted from the first spark at the face. The hole is done when feeding on meets nothing more
(breakthrough.py); until then no prediction of wear or taper ends it, and the room below the plate is its limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import Final

from controller.core.approach import AGAIN, SHORTER, START_ROOM_MM, Approach
from controller.core.breakthrough import FREE_RUN_UM
from controller.core.causes import Cause, trip
from controller.core.commands import Command
from controller.core.cycles.attend import attend
from controller.core.cycles.contacts import ALIVE_TIMEOUT_S, OPEN_V, alive, energise, isolate, prove, release
from controller.core.cycles.diagnose import why_closed
from controller.core.cycles.feel_front import find_front, return_to_front
from controller.core.cycles.judge import measure_electrode
from controller.core.cycles.measure import measure
from controller.core.cycles.recentre import check_place, face_off_mm
from controller.core.cycles.recover import (
    LIVE,
    RETREAT_UM_S,
    Freed,
    ask_for_help,
    flush,
    recover,
    short_declared,
)
from controller.core.cycles.travel import lower, rise, rise_to_top, travel
from controller.core.events import BrokeThrough
from controller.core.hole import Ending, Hole
from controller.core.hole_end import NEEDLE, VANISHED, HoleEnd
from controller.core.path import Plunge, Slide
from controller.core.permissions import RETURN_SPEED_UM_S, SERVO_SPEED_UM_S
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Rig
from controller.core.servo import Servo
from controller.plan.plan import PlannedHole
from controller.settings.units import S_PER_MS, UM_PER_MM

# A front no deeper than this may be the face itself: the hole is then begun anew. Chosen: more than the face is unsure.
BEGUN_UM: Final = 250.0
# Two sparks within a tenth of a second are erosion, one may be a passing chip. Chosen so.
IGNITED_HZ: Final = 10.0
# No deeper for this long while sparking: the gap is silted up; lift and flush. After so many lifts in vain it is
# given up. Chosen so that a slow front (10 µm/s) still moves by ten slices meanwhile.
STALL_S: Final = 20.0
STALLS_MAX: Final = 6
# So many shorts that small retreats answered, and the hole no deeper between them, call for the next rung. Chosen so.
RELAPSES: Final = 2
# Shorts in a row between which the hole got no deeper, before it is given up: ten times what a bad place shows. Chosen.
VAIN_SHORTS_MAX: Final = 30
LEAVE_S: Final = 3.0  # for the gap to open on leaving: several of the longest drop-outs (0.4 s, electrics.md); chosen
REPORT_S: Final = 5.0  # between progress events; chosen so that an hour makes some seven hundred
# The last stretch back to a front that was left is taken slowly: one usual gap, at a speed at which the reaction time
# (0.1 s) costs a fifth of it. After a drop-out the front is where it was; what is left is how well the play is known.
# Chosen so.
RETURN_ROOM_UM: Final = 50.0
AFTER_DROP_OUT_UM: Final = 15.0
FRONT_SPEED_UM_S: Final = 100.0
TAKE_UP_UM_S: Final = 1000.0  # play is taken up within a few ticks
# A low that may be a short is given way to by this at once: more than a touch is deep, and still within reach of sparks
# from a usual gap (10–100 µm, references §3). Chosen.
GIVE_WAY_UM: Final = 20.0
# Where no voltage comes over a gap that was sensed open, the tip is lifted by this after so long: a touch that stands
# under current welds within tenths of a second. Both chosen; a drop-out costs no more than the way.
TOUCHING_S: Final = 0.1
CLEAR_OFF_UM: Final = 300.0
# The place of the tip after a reversal is known to this: two steps of a usual feed axis. Chosen.
KNOWN_UM: Final = 5.0


# Not the end of a hole: the operator wishes for something that needs the electrode out of it.
ASIDE: Final = Ending("failed", "left")
SKIPPED: Final = Ending("failed", "skipped by the operator")


class Drilling:
    """The cycles that make one hole; what is known of it is in `hole`, the axis in `slide`."""

    __slots__ = (
        "_begun",
        "_end",
        "_gave_way",
        "_near_um",
        "_planned",
        "_rig",
        "_room_um",
        "_way_down",
        "hole",
        "slide",
    )

    def __init__(self, rig: Rig, planned: PlannedHole, *, begun: bool = False) -> None:
        self._rig = rig
        self._begun = begun
        self._planned = planned
        self._near_um = -inf
        self._gave_way = False
        self._room_um = RETURN_ROOM_UM
        self.hole = Hole(rig, planned)
        self._way_down: Approach
        self._end: HoleEnd
        self.slide: Slide

    def run(self) -> Cycle[str]:
        """Make the hole; returns its outcome: `through` or `failed`; `undersize` when another rod has to finish it."""
        rig, planned = self._rig, self._planned
        rig.hole = planned.index
        rig.say(f"Hole {planned.index}: going there")
        yield from travel(rig, planned.x_mm, planned.y_mm)
        self.hole.begin()
        rig.servo.begin()
        rig.measuring.begun(rig.unsure_mm())
        self._way_down = Approach(rig, planned)
        self._end = HoleEnd(rig, self.hole)
        if self._begun:
            yield from self._find_front()
        ending: Ending | None = None
        while ending is None:
            yield from self._re_enter()
            yield from self._close()
            ending = yield from self._sink()
            if ending is SHORTER:
                yield from self._look_again()
                ending = None
            elif ending is VANISHED:
                yield from self._look_for_front()
                ending = None
            elif ending is ASIDE:
                yield from self._step_aside()
                ending = None
            elif ending is AGAIN:
                yield from self._leave()
                ending = None
        yield from self._leave()
        if ending is NEEDLE:
            self.hole.book_wear()
            rig.needle = True
            rig.say(f"Hole {planned.index}: not at full size, the rod is too needle-shaped")
        else:
            self.hole.finish(ending)
        return ending.outcome

    # -- getting there ---------------------------------------------------------------------------------------------

    def _take_stock(self) -> None:
        """A new slide from where the axis stands now; arc length 0 is the start height."""
        seen, machine = self._rig.sense.seen, self._rig.machine
        path = Plunge(seen.x_um, seen.y_um, self._way_down.start_z_um)
        self.slide = Slide(path, self._rig.play_um, machine.useful_move_um)
        self.slide.halted_at(seen.z_um)

    def _close(self) -> Cycle[None]:
        """Prove, sense the gap open, enter the approach, put the source on."""
        rig = self._rig
        while (open_v := (yield from self._sensed_v())) <= OPEN_V:
            # The reading had half a minute to open by itself; what is left needs a hand.
            why = yield from why_closed(rig, open_v, f"above hole {self._planned.index}")
            if why.cause != Cause.SENSING_CLOSED:
                raise why
            if (yield from self._met_face()):
                yield from self._re_enter()
                continue
            yield from ask_for_help(rig, f"The sensing path reads contact above hole {self._planned.index}.")
            rig.enter(Trigger.GO_ON)
            yield from self._after_help()
            yield from self._re_enter()
        rig.enter(Trigger.DESCEND)
        rig.say(f"Hole {self._planned.index}: approaching")
        yield from energise(rig)
        if (yield from alive(rig, TOUCHING_S)):
            return
        # Sensed open, and no voltage: what was a hair's breadth off may touch now, or the source is dead or away.
        self._way_down.touched(self.slide.tip_um)
        yield self.slide.back(CLEAR_OFF_UM, RETREAT_UM_S)
        if not (yield from alive(rig, ALIVE_TIMEOUT_S)):
            raise trip(Cause.SOURCE_DEAD)

    def _met_face(self) -> Cycle[bool]:
        """Whether it was the face, met by a rod longer than believed. Raises Trip for a face that is higher."""
        rig = self._rig
        off_mm = yield from face_off_mm(rig, self._planned)
        if off_mm <= 2.0 * rig.unsure_mm():
            return False
        self.hole.book_wear()
        believed_mm = rig.electrode.tip_mm
        yield from measure_electrode(rig, longer_mm=off_mm)
        yield from travel(rig, self._planned.x_mm, self._planned.y_mm)
        longer_mm = rig.electrode.tip_mm - believed_mm
        if self.hole.zero_um is None:
            self._way_down.choose_start()
        else:
            self._way_down.longer(longer_mm)
        off_mm -= longer_mm
        if off_mm > 2.0 * rig.unsure_mm():
            raise trip(Cause.FACE_OFF, f"{off_mm:.2f} mm higher at hole {self._planned.index}")
        return True

    def _sensed_v(self) -> Cycle[float]:
        """Prove isolation and read the sensing path (volts), from idle to idle."""
        rig = self._rig
        rig.enter(Trigger.TOUCH)
        open_v = yield from prove(rig)
        yield from release(rig)
        rig.enter(Trigger.TOUCHED)
        return open_v

    def _re_enter(self) -> Cycle[None]:
        """Down to the start height; in a hole begun before, on the sensing path, to just above where the front was."""
        rig = self._rig
        yield from lower(rig, self._way_down.start_z_um)
        self._take_stock()
        slide = self.slide
        deepest_um = self._way_down.empty_um if self.hole.zero_um is None else self.hole.deepest_um
        front_um = deepest_um - START_ROOM_MM * UM_PER_MM
        if front_um <= slide.axis_um + RETURN_ROOM_UM:
            return
        rig.say(f"Hole {self._planned.index}: back down on the sensing path")
        yield from return_to_front(rig, slide, front_um, RETURN_ROOM_UM)

    def _find_front(self) -> Cycle[None]:
        """The hole was begun before an interruption: down on the sensing path to wherever it meets metal.

        A way that is free to where the full diameter would have passed means that the tip is through; whether it is
        at full size is then seen by going that way once more with the source on.
        """
        rig = self._rig
        yield from lower(rig, self._way_down.start_z_um)
        self._take_stock()
        zero_um, thickness_um = self._way_down.foretold_um, rig.given.job.work.thickness_mm * UM_PER_MM
        rig.say(f"Hole {self._planned.index}: begun before; feeling for its front on the sensing path")
        met_um = yield from find_front(rig, self.slide, zero_um + self._end.enough_um)
        front_um = zero_um + thickness_um if met_um is None else met_um
        if front_um - zero_um > BEGUN_UM:
            self.hole.taken_up(zero_um, front_um)
        if met_um is None:
            feed_mm = thickness_um / UM_PER_MM
            rig.tell(BrokeThrough(rig.now_s, self._planned.index, feed_mm, "found through by touch, begun before"))

    # -- eroding ---------------------------------------------------------------------------------------------------

    def _sink(self) -> Cycle[Ending | None]:
        """Approach and erode until the hole ends (an Ending) or the ladder led out of it (None)."""
        while True:
            ending = yield from self._approach()
            if ending is None and not short_declared(self._rig):
                self._rig.enter(Trigger.IGNITE)
                ending = yield from self._erode()
            if ending is not None:
                return ending
            met_um = self.slide.tip_um
            freed = yield from self._free()
            if self.hole.zero_um is None and freed is Freed.IN_HOLE:
                self._way_down.touched(met_um)
            if isinstance(freed, Ending):
                return freed
            if freed is not Freed.IN_HOLE:
                return None

    def _approach(self) -> Cycle[Ending | None]:
        """Forward until it sparks or shorts (None); an Ending when the hole turns out to be over."""
        rig, slide, hole = self._rig, self.slide, self.hole
        sense = rig.sense
        front_um = hole.deepest_um
        yield slide.take_up(TAKE_UP_UM_S)
        while not self._short_met():
            if rig.wishes.aside(self._planned.index):
                return self._wished()
            if sense.gap.spark_rate_hz > IGNITED_HZ and not sense.long_low:
                if hole.zero_um is None:
                    self._way_down.see_length(slide.tip_um)
                    hole.sparked(slide.tip_um)
                return None
            hole.count(slide.tip_um, sense.sparks)
            if hole.zero_um is None:
                ending = self._way_down.nothing_met(slide.axis_um, slide.tip_um)
            else:
                ending = self._end.judge(slide)
            if ending is not None:
                return ending
            feed_um = 0.0 if sense.long_low or self._end.sparking_out else self._approach_speed(front_um) * rig.tick_s
            yield slide.forward(feed_um, sense.seen.queued)
        return None

    def _short_met(self) -> bool:
        """A short is declared; above the highest place of a face not yet met, only once no drop-out lasts so long."""
        rig = self._rig
        if not short_declared(rig):
            return False
        above = self.hole.zero_um is None and self._way_down.is_above(self.slide.tip_um)
        return not above or rig.sense.reader.window.low_ms * S_PER_MS > rig.machine.drop_outs.longest_s

    def _approach_speed(self, front_um: float) -> float:
        """Toward a face that only the map knows; back to a front that was left; its last stretch; beyond it (µm/s)."""
        if self.hole.zero_um is None:
            return self._way_down.speed_um_s(self.slide.tip_um)
        beyond_um = self.slide.tip_um - front_um
        if beyond_um < -self._room_um:
            return RETURN_SPEED_UM_S
        # Past the front without a spark, the way is free for twice as far a second: as the servo has it.
        return min(FRONT_SPEED_UM_S + Servo.QUIET_PER_S * max(beyond_um, 0.0), SERVO_SPEED_UM_S)

    def _erode(self) -> Cycle[Ending | None]:
        """Servo until the hole ends (an Ending), a short is declared or it gets no deeper (None)."""
        rig, slide, hole = self._rig, self.slide, self.hole
        sense, servo, tick_s = rig.sense, rig.servo, rig.tick_s
        gap = sense.gap
        rig.say(f"Hole {self._planned.index}: eroding")
        servo.start()
        self._gave_way, self._near_um = False, -inf
        hole.deeper_s = rig.now_s  # a stall is time spent eroding, not measuring or asking on the way here
        while not short_declared(rig):
            if rig.wishes.aside(self._planned.index):
                return self._wished()
            before_um, behind_um = hole.deepest_um, max(hole.deepest_um - slide.tip_um, 0.0)
            hole.count(slide.tip_um, 0 if self._end.sparking_out else sense.sparks)
            hole.eroded(gap.state, tick_s, REPORT_S)
            servo.gained(hole.feed_um, hole.deepest_um - before_um, sense.sparks, gap.spark_rate_hz, hole.whole_front)
            if hole.whole_front:
                servo.reference.follow(rig.now_s, hole.feed_um)
            else:
                servo.reference.interrupt()
            ending = self._end.judge(slide)
            if ending is not None:
                return ending
            if self._end.sparking_out:
                hole.deeper_s = rig.now_s  # it is not meant to get deeper
                yield ()
                continue
            if rig.now_s - hole.deeper_s > STALL_S:
                return None
            feed_um = servo.feed_um(gap, sense.sparks, sense.long_low, behind_um)
            yield self._give_way() if sense.long_low else self._feed(feed_um)
        return None

    def _give_way(self) -> Sequence[Command]:
        """A low longer than any pause may be a short: let go at once, by so little that a drop-out costs nothing.

        A touch that stands under current welds within tenths of a second, and its kind is not told from a drop-out's
        sooner than that: whatever else is to be done about it waits for what is learned meanwhile.
        """
        if self._gave_way or not self._rig.sense.gap.suspect:
            return ()
        self._gave_way = True
        self._near_um = self.slide.tip_um - KNOWN_UM
        return self.slide.back(GIVE_WAY_UM, RETREAT_UM_S)

    def _feed(self, feed_um: float) -> Sequence[Command]:
        """Forward by the servo's feed; what giving way cost is gone back as fast as the phase permits.

        After a drop-out the front is where it was; after a touch only the play is taken up fast.
        """
        rig, slide = self._rig, self.slide
        if self._gave_way:
            self._gave_way = False
            if not rig.sense.gap.last_was_off:
                self._near_um = slide.axis_um + slide.loose_um
                rig.servo.reference.lost(rig.sense.reader.window.ended_ms * S_PER_MS)
        back_um = min(self._near_um - slide.axis_um, SERVO_SPEED_UM_S * rig.tick_s)
        return slide.forward(max(feed_um, back_um), rig.sense.seen.queued)

    def _free(self) -> Cycle[Freed | Ending]:
        """The ladder, or, when nothing is shorted, the lift that a stall calls for."""
        rig, hole = self._rig, self.hole
        if not short_declared(rig):
            hole.stalls += 1
            if hole.stalls > STALLS_MAX:
                return self._end.given_up(f"no deeper after {STALLS_MAX} lifts")
            yield from flush(rig, self.slide)
            hole.deeper_s = rig.now_s
            return Freed.IN_HOLE
        # Those that keep coming back with the hole no deeper call for the next rung.
        relapsed = min(hole.vain_shorts // RELAPSES, 2)
        if hole.vain_shorts >= VAIN_SHORTS_MAX:
            return self._end.given_up(f"shorted {hole.vain_shorts} times and got no deeper")
        # A small retreat is no answer to a short that it has just answered; it is all that a drop-out needs.
        surely = rig.sense.gap.p_shorted > 0.5
        began_s = rig.now_s
        freed = yield from recover(rig, self.slide, 0.0, 1 + relapsed if surely else 1)
        hole.deeper_s = rig.now_s
        self._room_um = AFTER_DROP_OUT_UM if freed is Freed.NEVER_SHORTED else RETURN_ROOM_UM
        if freed is Freed.NEVER_SHORTED:
            return Freed.IN_HOLE
        hole.shorted()
        rig.servo.reference.lost(rig.now_s - began_s)
        if freed is Freed.HELPED:
            yield from self._after_help()
        return freed

    def _look_for_front(self) -> Cycle[None]:
        """Measure: a rod that is shorter goes on where its sparks ceased; with a rod as it was the work is thinner."""
        hole, before_mm = self.hole, self._rig.electrode.tip_mm
        hole.book_wear()
        yield from self._look_again()
        zero_um, shorter_mm = hole.zero_um, before_mm - self._rig.electrode.tip_mm
        if zero_um is None or shorter_mm < FREE_RUN_UM / UM_PER_MM:
            self._end.thin = True
            return
        hole.taken_up(zero_um, max(hole.deepest_um - FREE_RUN_UM, zero_um))

    def _look_again(self) -> Cycle[None]:
        """No work where it should be: before it is called missing, see whether the rod is shorter than believed."""
        yield from self._leave()
        yield from measure_electrode(self._rig)
        yield from travel(self._rig, self._planned.x_mm, self._planned.y_mm)
        self._way_down.choose_start()

    def _wished(self) -> Ending:
        """What the operator's wish makes of this hole."""
        return SKIPPED if self._rig.wishes.skips(self._planned.index) else ASIDE

    def _step_aside(self) -> Cycle[None]:
        """Out of the hole, do what was asked for, back above it."""
        rig = self._rig
        yield from self._leave()
        self.hole.book_wear()
        before_mm = rig.electrode.tip_mm
        if (yield from attend(rig)):
            self._way_down.longer(rig.electrode.tip_mm - before_mm)
        yield from travel(rig, self._planned.x_mm, self._planned.y_mm)

    def _after_help(self) -> Cycle[None]:
        """Hands were on the electrode: measure it again, come back above the hole."""
        rig = self._rig
        self.hole.book_wear()
        before_mm = rig.electrode.tip_mm
        yield from self._measure_again()
        # The tip shall start as high above the face as before, however long the electrode is now: a shorter one would
        # else run down to its front through air, which looks like the free run behind a hole.
        self._way_down.longer(rig.electrode.tip_mm - before_mm)
        yield from travel(rig, self._planned.x_mm, self._planned.y_mm)

    def _measure_again(self) -> Cycle[None]:
        """Hands were on the electrode: it may stand out further than before, so go up as high as there is room."""
        electrode = self._rig.electrode
        self.hole.book_wear()
        yield from rise_to_top(self._rig)
        electrode.renewed(electrode.tip_mm, self._rig.machine.holder.protrusion_u_mm)
        yield from measure(self._rig, doubt_mm=0.0)
        yield from check_place(self._rig)

    # -- leaving ---------------------------------------------------------------------------------------------------

    def _leave(self) -> Cycle[None]:
        """Withdraw to the start height, isolate cold; a short on the way goes up the ladder."""
        rig = self._rig
        rig.say(f"Hole {self._planned.index}: withdrawing")
        freed = Freed.IN_HOLE
        while freed in LIVE:  # freed live: withdraw again, the source is still on
            rig.enter(Trigger.WITHDRAW)
            # As fast as the axis goes: out of a thick plate the source is live all the way and removes nothing.
            yield self.slide.back_to(0.0, rig.machine.axes.top_speed_mm_s[2] * UM_PER_MM)
            if (yield from isolate(rig, LEAVE_S)):
                rig.enter(Trigger.CLEARED)
                break
            freed = yield from recover(rig, self.slide, 0.0, 2)
            if freed is not Freed.NEVER_SHORTED:
                self.hole.shorted()
        yield from rise(rig)
        if freed is Freed.HELPED:
            yield from self._measure_again()
