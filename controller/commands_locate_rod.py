"""`gapwright locate rod`: whether the rod stands parallel to its feed, and how far its end runs out."""

from __future__ import annotations

import json
import math
from dataclasses import asdict

from controller.core.cycles.locate import locate_plane, make_ready, place_beside
from controller.core.cycles.locate_rod import FoundRod, Wall, find_rod
from controller.core.cycles.travel import rise_to_top
from controller.core.events import RunEnded
from controller.core.rig import Bench, Cycle
from controller.locating import (
    OFF_MM,
    TURN_OFF_DEG,
    At,
    MachineFile,
    Near,
    PlaceOff,
    PlantFile,
    Rehearse,
    Seed,
    Turned,
    TurnOff,
    Wanted,
    Yes,
    carried_out,
    wanted_of,
)
from controller.screen import AsJson, JobName, out
from controller.settings.units import MM_PER_M, UM_PER_MM

WIDER_SHARE = 0.1
"""How much of a job's tolerance a lean may take up before the reader is told to straighten the rod. Chosen."""


def rod(
    job: JobName,
    machine: MachineFile = None,
    near: Near = None,
    turned: Turned = None,
    off: PlaceOff = OFF_MM,
    turn_off: TurnOff = TURN_OFF_DEG,
    at: At = (0.0, 0.0),
    rehearse: Rehearse = False,
    seed: Seed = 1,
    plant: PlantFile = None,
    yes: Yes = False,
    as_json: AsJson = False,
) -> None:
    """Touch both edges at a corner at two depths: the rod's lean; with a spindle its run-out, too."""
    wanted = wanted_of("rod", job, machine, near, turned, off, turn_off, at, rehearse=rehearse)
    found: list[FoundRod] = []

    def work(bench: Bench) -> Cycle[RunEnded]:
        found.append((yield from _found(bench, wanted)))
        yield from rise_to_top(bench)
        return RunEnded(bench.now_s, "complete", "the rod's stand was found")

    ended, _ = carried_out(
        wanted.machine, wanted.job, work, rehearse=rehearse, seed=seed, plant=plant, yes=yes, quiet=as_json
    )
    if as_json:
        out.print(json.dumps({"seconds": ended.time_s, "found": asdict(found[0])}, indent=2), markup=False)
        return
    for line in lines(found[0], wanted, ended.time_s):
        out.print(line, markup=False, highlight=False, soft_wrap=True)


def _found(bench: Bench, wanted: Wanted) -> Cycle[FoundRod]:
    """Make ready, touch the face, then the walls."""
    yield from make_ready(bench)
    face = yield from locate_plane(bench, wanted.about)
    ways = [place_beside(bench, wanted.about, wanted.at_mm, along) for along in (1, 0)]
    heights = [face.at_mm(*start) for start, _, _ in ways]
    # Both depths are taken from where the face is lowest, so that they are below the plate there.
    walls = [Wall(*way, max(heights), f"the edge along {name}") for way, name in zip(ways, "yx", strict=True)]
    work, face_mm = wanted.job.work, min(heights)
    return (yield from find_rod(bench, (walls[0], walls[1]), face_mm, work.thickness_mm, work.clear_below_mm))


def lines(found: FoundRod, wanted: Wanted, seconds: float) -> list[str]:
    """What was found, in words, and what it means for the job."""
    (x, y), (ux, uy) = found.lean_mm_m, found.u_lean_mm_m
    lean, work, tolerance_mm = math.hypot(x, y), wanted.job.work, wanted.job.holes.tolerance_mm
    stands = f"{x:+.1f} ± {2.0 * ux:.1f} mm a metre toward x and by {y:+.1f} ± {2.0 * uy:.1f} toward y"
    apart = f"touched {found.apart_mm:.1f} mm apart in height"
    told = [f"The rod's upper part leans by {stands}, against its feed; {apart}."]
    if lean <= 2.0 * math.hypot(ux, uy):
        told.append("That can't be told from a rod that stands straight.")
    else:
        # The body follows the tip's way down beside it: the rim sees it pass as far aside as the tip is deep.
        most_mm = lean / MM_PER_M * (work.thickness_mm + work.clear_below_mm)
        straighten = " Straighten rod or holder, then look again." if most_mm > WIDER_SHARE * tolerance_mm else ""
        here = f"up to {UM_PER_MM * most_mm:.0f} µm here, of a tolerance of {UM_PER_MM * tolerance_mm:.0f}"
        told.append(
            f"It makes holes wider one way at their rim, by {lean:.0f} µm for each millimetre that the tip goes below "
            f"it: {here}.{straighten}"
        )
    if found.run_out_mm is None:
        told.append("No spindle is fitted: nothing turns the rod, so nothing runs out.")
    else:
        run_out_um, u_um = UM_PER_MM * found.run_out_mm, UM_PER_MM * found.u_run_out_mm
        told.append(
            f"Its end runs out by {run_out_um:.0f} ± {2.0 * u_um:.0f} µm about the spindle's axis: a turning rod makes "
            "holes wider by twice that."
        )
    told.append(f"It took {seconds / 60.0:.1f} min of machine time; all ± are expanded, k = 2.")
    return told
