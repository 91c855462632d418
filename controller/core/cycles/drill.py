"""One hole: travel, prove, close, approach, erode to full size through the far face, withdraw, isolate.

Depth is counted from the first spark at the face. The hole is done when feeding on meets nothing more (breakthrough.py);
until then no prediction of wear or taper ends it, and the room below the plate is its limit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import hypot

from controller.core.breakthrough import Breakthrough
from controller.core.cycles.contacts import OPEN_V, energise, isolate, prove
from controller.core.cycles.measure import measure
from controller.core.cycles.recover import RETREAT_UM_S, Freed, flush, recover, short_declared
from controller.core.cycles.touch import release
from controller.core.cycles.travel import lower, rise, travel
from controller.core.cycles.wait import pause
from controller.core.events import BrokeThrough, HoleFinished, HoleProgress, HoleStarted
from controller.core.gap import GapState
from controller.core.path import Plunge, Slide
from controller.core.permissions import APPROACH_SPEED_UM_S, RETURN_SPEED_UM_S, TOUCH_SPEED_UM_S
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Rig, Trip
from controller.plan.plan import PlannedHole
from controller.settings.units import UM_PER_MM

# The approach starts this far above the face at least: three times the widest gap (references §3), so that the source
# always closes on an open gap.
START_ROOM_MM = 0.3
# Two sparks within a tenth of a second are erosion, one may be a passing chip. Chosen so.
IGNITED_HZ = 10.0
# Live without removal is allowed for 10 s (interfaces.md); the core gives up a second before.
NO_REMOVAL_S = 9.0
# No deeper for this long while sparking: the gap is silted up; lift and flush. After so many lifts in vain: give the hole up.
STALL_S, STALLS_MAX = 20.0, 6
# Shorts that small retreats answer again and again within this stretch of time call for the next rung.
RELAPSE_S, RELAPSES = 4.0, 2
RECOVERIES_MAX = 60
ROOM_BELOW_MARGIN_MM = 0.5  # kept free above whatever lies below the plate; half a millimetre, chosen so
REPORT_S = 5.0
# The last stretch back to a front is taken slowly: one usual gap and the play. Chosen so.
RETURN_ROOM_UM = 100.0
FRONT_SPEED_UM_S = 100.0  # chosen so that the reaction time (0.1 s) costs a fifth of a gap
_SHARE = {GapState.OPEN: 0, GapState.SPARKING: 1, GapState.SHORTED: 2, GapState.OFF: 3}


@dataclass(slots=True)
class HoleLog:
    """What is counted while a hole is made."""

    start_s: float
    erode_s: float = 0.0
    shorts: int = 0
    recoveries: int = 0
    stalls: int = 0
    short_times: list[float] = field(default_factory=list)


@dataclass(slots=True)
class Ending:
    """How the erosion ended: outcome word and reason."""

    outcome: str
    reason: str = ""


class Drilling:
    """One hole in the making: its slide, its log, and the cycles that work on them."""

    __slots__ = ("_deep_s", "_deepest_um", "_hole", "_log", "_rig", "_shares", "_sparks", "_start_z_um", "_through", "_zero_um", "slide")

    def __init__(self, rig: Rig, hole: PlannedHole) -> None:
        self._rig = rig
        self._hole = hole
        self._log = HoleLog(rig.now_s)
        self._through = Breakthrough(rig.given.job.work.thickness_mm * UM_PER_MM, rig.usual_sparks_per_um)
        self._zero_um: float | None = None
        self._deepest_um = 0.0
        self._deep_s = 0.0
        self._sparks = 0
        self._shares = [0.0, 0.0, 0.0, 0.0]
        self._start_z_um = 0.0
        self.slide: Slide

    def run(self) -> Cycle[str]:
        """Make the hole; returns its outcome: `through`, `undersize` or `failed`."""
        rig, hole = self._rig, self._hole
        rig.hole = hole.index
        rig.say(f"Hole {hole.index}: going there")
        yield from travel(rig, hole.x_mm, hole.y_mm)
        rig.tell(
            HoleStarted(
                rig.now_s, hole.index, hole.x_mm, hole.y_mm, rig.electrode.tip_mm, rig.electrode.tip_u_mm
            )
        )
        yield from self._go_to_start()
        while True:
            yield from self._close()
            ending = yield from self._sink()
            if ending is not None:
                break
            yield from self._re_enter()
        yield from self._leave()
        self._finish(ending)
        return ending.outcome

    # -- getting there ---------------------------------------------------------------------------------------------

    def _go_to_start(self) -> Cycle[None]:
        rig, hole = self._rig, self._hole
        if rig.surface is None:
            raise Trip("no surface", "a hole was begun before the work was mapped", "report it: a fault of the program")
        face_mm = rig.surface.at_mm(hole.x_mm, hole.y_mm) + rig.electrode.tip_mm
        room_mm = START_ROOM_MM + 2.0 * hypot(rig.surface.u_mm, rig.electrode.tip_u_mm)
        self._start_z_um = (face_mm + room_mm) * UM_PER_MM
        yield from lower(rig, self._start_z_um)
        self._reset_slide()

    def _reset_slide(self) -> None:
        seen, machine = self._rig.sense.seen, self._rig.given.machine
        path = Plunge(seen.x_um, seen.y_um, self._start_z_um)
        self.slide = Slide(path, machine.axes.backlash_um[2], machine.useful_move_um)
        self.slide.halted_at(seen.z_um)

    def _close(self) -> Cycle[None]:
        """Prove, sense the gap open, enter the approach, put the source on."""
        rig = self._rig
        rig.enter(Trigger.TOUCH)
        open_v = yield from prove(rig)
        if open_v <= OPEN_V:
            raise Trip(
                "sensing path closed",
                f"the sensing path reads contact at the start height of hole {self._hole.index}",
                "look for a bridge or a bent electrode; is the plate where it was mapped?",
            )
        yield from release(rig)
        rig.enter(Trigger.TOUCHED)
        rig.enter(Trigger.DESCEND)
        rig.say(f"Hole {self._hole.index}: approaching")
        yield from energise(rig)

    def _re_enter(self) -> Cycle[None]:
        """After the ladder led out of the hole: down again on the sensing path, to just above where the front was."""
        rig = self._rig
        if self._zero_um is None:
            return
        front_um = self._deepest_um - START_ROOM_MM * UM_PER_MM
        if front_um <= self.slide.axis_um + 50.0:
            return
        rig.say(f"Hole {self._hole.index}: back down on the sensing path")
        rig.enter(Trigger.TOUCH)
        yield from prove(rig)
        while self.slide.axis_um < front_um and rig.sense.pin_v() > 0.5:
            yield self.slide.forward(TOUCH_SPEED_UM_S * rig.tick_s, rig.sense.seen.queued)
        yield self.slide.back(100.0, RETREAT_UM_S)
        yield from pause(rig, 0.1)
        yield from release(rig)
        rig.enter(Trigger.TOUCHED)

    # -- eroding ---------------------------------------------------------------------------------------------------

    def _sink(self) -> Cycle[Ending | None]:
        """Approach and erode until the hole ends (an Ending) or the ladder led out of it (None)."""
        while True:
            ending = yield from self._approach()
            if ending is None:
                self._rig.enter(Trigger.IGNITE)
                ending = yield from self._erode()
            if ending is not None:
                return ending
            freed = yield from self._recover()
            if isinstance(freed, Ending):
                return freed
            if freed is not Freed.IN_HOLE:
                return None

    def _approach(self) -> Cycle[Ending | None]:
        """Forward until it sparks (None) or shorts (None, the erode loop sees it); an Ending when there is nothing."""
        rig, slide = self._rig, self.slide
        limit_um = self._limit_um()
        yield slide.take_up(APPROACH_SPEED_UM_S * 4.0)
        while True:
            sense = rig.sense
            if short_declared(rig) or (sense.gap.spark_rate_hz > IGNITED_HZ and not sense.long_low):
                break
            if slide.axis_um > limit_um or sense.idle_s > NO_REMOVAL_S:
                return self._nothing_met(limit_um)
            self._note_progress()
            ended = self._ended()
            if ended is not None:
                return ended
            known_free = self._zero_um is not None and slide.tip_um < self._deepest_um - RETURN_ROOM_UM
            speed = RETURN_SPEED_UM_S if known_free else self._approach_speed()
            yield () if sense.long_low else slide.forward(speed * rig.tick_s, sense.seen.queued)
        if self._zero_um is None and not short_declared(rig):
            # A low met before any spark may be a drop-out in free air: the ladder finds out, the face is not there yet.
            self._first_spark()
        return None

    def _approach_speed(self) -> float:
        """Toward a face that only the map knows: the approach speed; toward a front that was left a moment ago: slow."""
        return APPROACH_SPEED_UM_S if self._zero_um is None else FRONT_SPEED_UM_S

    def _nothing_met(self, limit_um: float) -> Ending:
        if self._zero_um is not None:
            return Ending("undersize", "the room below the plate was used up") if self.slide.axis_um > limit_um else Ending(
                "failed", "no more sparks and no free way"
            )
        raise Trip(
            "work missing",
            f"no spark down to {limit_um / UM_PER_MM:.2f} mm below the start height of hole {self._hole.index}",
            "is the work in place, is the source alive, does the electrode stand out as measured?",
        )

    def _first_spark(self) -> None:
        self._zero_um = self.slide.tip_um
        self._deep_s = self._rig.now_s

    def _limit_um(self) -> float:
        """Arc length that the axis must not pass: the room below the plate, or, before the first spark, the far face."""
        rig = self._rig
        work = rig.given.job.work
        if self._zero_um is None:
            unsure_mm = 3.0 * hypot(rig.surface.u_mm if rig.surface else 0.0, rig.electrode.tip_u_mm)
            return (2.0 * START_ROOM_MM + 2.0 * unsure_mm + 0.5) * UM_PER_MM
        return self._zero_um + (work.thickness_mm + work.clear_below_mm - ROOM_BELOW_MARGIN_MM) * UM_PER_MM

    def _erode(self) -> Cycle[Ending | None]:
        """Servo until the hole ends, or a short needs the ladder (None)."""
        rig, slide, sense = self._rig, self.slide, self._rig.sense
        rig.say(f"Hole {self._hole.index}: eroding")
        servo, gap, tick_s = rig.servo, rig.sense.gap, rig.tick_s
        report_s = rig.now_s
        servo.start()
        while True:
            self._log.erode_s += tick_s
            sparks = sense.sparks
            self._sparks += sparks
            if short_declared(rig):
                return None
            self._note_progress()
            self._follow_reference()
            if rig.now_s - report_s >= REPORT_S:
                self._report(rig.now_s - report_s)
                report_s = rig.now_s
            ended = self._ended()
            if ended is not None:
                return ended
            if rig.now_s - self._deep_s > STALL_S:
                return None
            self._shares[_SHARE[gap.state]] += tick_s
            yield slide.forward(servo.feed_um(gap, sparks, sense.long_low), sense.seen.queued)

    def _note_progress(self) -> None:
        slide = self.slide
        if self._zero_um is None:
            return
        if slide.tip_um > self._deepest_um + 2.0:
            self._deepest_um = slide.tip_um
            self._deep_s = self._rig.now_s
        was = self._through.pierced_um
        self._through.progress(self._deepest_um - self._zero_um, self._sparks)
        self._sparks = 0
        self._rig.feed_um = slide.tip_um - self._zero_um
        if was is None and self._through.pierced_um is not None:
            self._rig.tell(
                BrokeThrough(
                    self._rig.now_s, self._hole.index, self._through.pierced_um / UM_PER_MM, "sparks a micrometre fell"
                )
            )

    def _follow_reference(self) -> None:
        """Trials of the servo's reference count only while the whole front erodes: below the face, above the far side."""
        thickness_um = self._rig.given.job.work.thickness_mm * UM_PER_MM
        depth_um = self._deepest_um - (self._zero_um or 0.0)
        if 0.1 * thickness_um < depth_um < 0.9 * thickness_um:
            self._rig.servo.reference.follow(self._rig.now_s, depth_um)
        else:
            self._rig.servo.reference.interrupt()

    def _ended(self) -> Ending | None:
        if self._zero_um is None:
            return None
        if self._through.free_from_um is not None:
            return Ending("through")
        if self.slide.tip_um >= self._limit_um():
            return Ending("undersize", "the room below the plate was used up before the full diameter had passed")
        return None

    def _recover(self) -> Cycle[Freed | Ending]:
        """The ladder, or, when nothing was shorted, the lift that a stall calls for."""
        rig, log = self._rig, self._log
        if not short_declared(rig):
            log.stalls += 1
            if log.stalls > STALLS_MAX:
                return Ending("failed", f"no deeper after {STALLS_MAX} lifts")
            yield from flush(rig, self.slide)
            self._deep_s = rig.now_s
            return Freed.IN_HOLE
        log.shorts += 1
        log.short_times.append(rig.now_s)
        if log.shorts > RECOVERIES_MAX:
            return Ending("failed", f"shorted {log.shorts} times")
        recent = sum(1 for t in log.short_times if rig.now_s - t < RELAPSE_S)
        freed = yield from recover(rig, self.slide, 0.0, 2 if recent > RELAPSES else 1)
        log.recoveries += 1
        self._deep_s = rig.now_s
        if freed is Freed.HELPED:
            yield from self._after_help()
        if freed is not Freed.IN_HOLE:
            self._reset_slide()
        return freed

    def _after_help(self) -> Cycle[None]:
        """Hands were on the electrode: measure it again, come back above the hole."""
        rig = self._rig
        before_mm = rig.electrode.tip_mm
        rig.electrode.renewed(before_mm, rig.given.machine.holder.protrusion_u_mm)
        yield from measure(rig)
        # The tip shall start as high above the face as before, however long the electrode is now.
        self._start_z_um += (rig.electrode.tip_mm - before_mm) * UM_PER_MM
        yield from travel(rig, self._hole.x_mm, self._hole.y_mm)
        yield from lower(rig, self._start_z_um)

    # -- leaving ---------------------------------------------------------------------------------------------------

    def _leave(self) -> Cycle[None]:
        """Withdraw to the start height, isolate cold; a short on the way goes up the ladder."""
        rig = self._rig
        rig.say(f"Hole {self._hole.index}: withdrawing")
        freed = Freed.IN_HOLE
        while freed is Freed.IN_HOLE:
            rig.enter(Trigger.WITHDRAW)
            yield self.slide.back_to(0.0, RETREAT_UM_S)
            if (yield from isolate(rig, 3.0)):
                rig.enter(Trigger.CLEARED)
                break
            freed = yield from recover(rig, self.slide, 0.0, 2)
        yield from rise(rig)
        if freed is Freed.HELPED:
            rig.electrode.renewed(rig.electrode.tip_mm, rig.given.machine.holder.protrusion_u_mm)
            yield from measure(rig)

    def _finish(self, ending: Ending) -> None:
        rig, log, job = self._rig, self._log, self._rig.given.job
        zero_um = self._zero_um or 0.0
        feed_mm = max(self._deepest_um - zero_um, 0.0) / UM_PER_MM if self._zero_um is not None else 0.0
        depth_mm = job.work.thickness_mm
        share = min(feed_mm / depth_mm, 1.0)
        rig.electrode.drilled(share)
        rig.usual_sparks_per_um = self._through.usual
        self._see_cone(ending)
        size_mm, size_u_mm = self._exit_size(ending)
        rig.tell(
            HoleFinished(
                rig.now_s,
                self._hole.index,
                self._hole.x_mm,
                self._hole.y_mm,
                ending.outcome,
                ending.reason,
                log.start_s,
                rig.now_s - log.start_s,
                log.erode_s,
                feed_mm,
                share * rig.electrode.wear_mm,
                max(feed_mm - depth_mm, 0.0),
                size_mm,
                size_u_mm,
                log.shorts,
                log.recoveries,
            )
        )

    def _see_cone(self, ending: Ending) -> None:
        pierced, free = self._through.pierced_um, self._through.free_from_um
        if ending.outcome == "through" and pierced is not None and free is not None:
            self._rig.electrode.cone_seen(max(free - pierced, 0.0) / UM_PER_MM, 0.1)

    def _exit_size(self, ending: Ending) -> tuple[float, float]:
        """Estimated exit diameter and its standard uncertainty, mm."""
        given = self._rig.given
        full_mm = given.job.electrode.diameter_mm + 2.0 * given.overcut.mean_mm
        u_mm = given.overcut.u_new_diameter_mm
        if ending.outcome == "through":
            return full_mm, u_mm
        if ending.outcome == "failed" or self._through.pierced_um is None or self._zero_um is None:
            return 0.0, u_mm
        cone_mm = max(self._rig.electrode.cone_mm, 1e-3)
        passed_mm = (self._deepest_um - self._zero_um - self._through.pierced_um) / UM_PER_MM
        missing = min(max(1.0 - passed_mm / cone_mm, 0.0), 1.0)
        return full_mm * (1.0 - missing), hypot(u_mm, 0.5 * missing * given.job.electrode.diameter_mm)

    def _report(self, seconds: float) -> None:
        rig = self._rig
        if self._zero_um is None:
            return
        total = sum(self._shares) or 1.0
        open_, spark, short, off = (share / total for share in self._shares)
        feed_mm = (self.slide.tip_um - self._zero_um) / UM_PER_MM
        wear = rig.electrode.wear_mm * min(feed_mm / rig.given.job.work.thickness_mm, 1.0)
        rig.tell(
            HoleProgress(
                rig.now_s, self._hole.index, feed_mm, feed_mm - wear, open_, spark, short, off, rig.sense.gap.spark_rate_hz
            )
        )
        self._shares = [0.0, 0.0, 0.0, 0.0]

