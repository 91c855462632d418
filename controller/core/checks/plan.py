"""The commissioning as one cycle: every check in its order, whatever becomes of the others, and a verdict for each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from controller.core.checks.at_rest import AT_REST
from controller.core.checks.examination import FAILED, NOT_DONE, Check, Examination, failed, not_done
from controller.core.checks.gate import GATE
from controller.core.checks.motion import MOTION
from controller.core.checks.source import LIVE
from controller.core.checks.touching import TOUCHING
from controller.core.commands import Halt
from controller.core.cycles.travel import rise_to_top
from controller.core.cycles.wait import drain, pause, until
from controller.core.events import RunEnded
from controller.core.guards import AGE_MOST_S
from controller.core.phases import Trigger
from controller.core.rig import Cycle, Trip

# What needs nothing first, what moves next, what is live last: a fault is met where it can do the least.
CHECKS: Final = (*AT_REST, *GATE, *MOTION, *TOUCHING, *LIVE)
# After a trip the lift to the clear height is under way; its end is waited for. A contact has opened long before.
SETTLE_S: Final = 0.5
# A sampler that has reset itself is not heard of again; one that was only held up is, long before. Chosen.
SILENT_MOST_S: Final = 10.0


def commissioning(exam: Examination, checks: Sequence[Check] = CHECKS) -> Cycle[RunEnded]:
    """Every check in its order; returns how it ended."""
    exam.stand()
    for number, check in enumerate(checks):
        exam.current = check.name, check.title
        exam.waiting = tuple(checks[number + 1 :])
        if not check.when(exam):
            continue
        if check.name in exam.left_out:
            exam.record(check.name, check.title, not_done("left out as asked"))
            continue
        missing = [need for need in check.needs if not exam.passed(need)]
        if missing:
            exam.record(check.name, check.title, not_done(f"needs first: {', '.join(missing)}"))
            continue
        exam.bench.say(f"Checking: {check.title}")
        verdict = yield from check.run(exam)
        exam.record(check.name, check.title, verdict)
    exam.current, exam.waiting = ("", ""), ()
    if exam.bench.sense.seen.homed and exam.source_away:
        exam.leave_commission()
        yield from rise_to_top(exam.bench)
    return _end(exam)


def resumed(exam: Examination, trip: Trip) -> Cycle[RunEnded]:
    """A check was ended by a trip, everything has been made safe: that is its verdict, and the others go on."""
    bench, (name, title) = exam.bench, exam.current
    exam.record(name, title, failed(f"{trip.cause}: {trip.meaning}", trip.remedy))
    yield from pause(bench, SETTLE_S)
    yield from drain(bench)
    yield (Halt(),)
    if not (yield from until(bench, lambda: bench.sense.seen.sampler_age_s < AGE_MOST_S, SILENT_MOST_S)):
        return RunEnded(bench.now_s, "fault", f"{trip.cause}: {trip.meaning}")
    bench.enter(Trigger.ACKNOWLEDGE)
    bench.enter(Trigger.GO_ON)
    if not bench.sense.seen.contact_open:
        exam.found["contact"] = FAILED
    return (yield from commissioning(exam, exam.waiting))


def _end(exam: Examination) -> RunEnded:
    bad = [name for name, outcome in exam.found.items() if outcome == FAILED]
    open_ = [name for name, outcome in exam.found.items() if outcome == NOT_DONE and name not in exam.left_out]
    now_s = exam.bench.now_s
    if bad:
        return RunEnded(now_s, "fault", f"failed: {', '.join(bad)}")
    if open_:
        return RunEnded(now_s, "held", f"nothing failed, and not everything was checked: {', '.join(open_)}")
    return RunEnded(now_s, "complete", "every check was passed")
