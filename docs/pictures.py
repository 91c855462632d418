"""Makes the pictures of the README from one seeded rehearsal: the screen in mid-hole, the report, the phases.

Run by `make pictures`. The report is photographed by a browser (`chromium`, or what `BROWSER` names); without one its
picture is left as it is, and that is said.
"""

from __future__ import annotations

import asyncio
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from contextlib import chdir
from pathlib import Path

from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch

from controller.bus.picture import RunPicture
from controller.core.events import Event
from controller.core.phases import ROWS, Phase
from controller.core.requests import Request
from controller.core.snapshot import Snapshot
from controller.record.journal import Journal, StopRecord, TrueHole, TrueTip
from controller.record.run_folder import complete_run_folder
from controller.rehearsing import gauge_first_article
from controller.watchable import about
from controller.workshop import assignment, controller_for, expected_seconds, placed_holes, start_record
from sim.rehearsal import Rehearsal
from sim.settings import load_plant
from tui.app import RunScreen
from tui.rights import OWNER

DOCS = Path(__file__).resolve().parent
SEED, STARTED = 1, "2026-01-01T08:00:00Z"
# The moment of the screen's picture: so deep (mm) in this hole. Chosen: a fifth of the job, something to see.
HOLE, DEPTH_MM = 68, 0.6
SIZE = (110, 36)
# Where each phase stands: the way of a hole down the right side, what is done with the source off on the left.
PLACES = {
    Phase.IDLE: (0.0, 1.0),
    Phase.APPROACH: (1.4, 1.0),
    Phase.ERODE: (0.95, 0.2),
    Phase.SHORT_RECOVER: (1.2, -0.95),
    Phase.RETRACT: (0.25, 0.05),
    Phase.HOLD: (-0.5, -0.95),
    Phase.PROBE: (-1.4, 1.0),
    Phase.REFERENCE: (-1.4, 0.4),
    Phase.COMMISSION: (-1.4, -0.25),
    Phase.FAULT: (-1.4, -0.95),
}
BEND = 0.14
PAPER = {"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none"}
REPORT_PX = (1240, 1150)


class Sink:
    """Events go into the journal, and into the picture that a screen would have."""

    def __init__(self, journal: Journal, picture: RunPicture) -> None:
        self._journal, self._picture = journal, picture

    def append(self, event: Event) -> None:
        """Take an event."""
        self._journal.append(event)
        self._picture.hear(event)

    def append_true_tip(self, tip: TrueTip) -> None:
        """Take a true tip length."""
        self._journal.append_true_tip(tip)

    def append_true_hole(self, truth: TrueHole) -> None:
        """Take a true hole."""
        self._journal.append_true_hole(truth)


class Still:
    """A run that stands still."""

    def __init__(self, picture: RunPicture) -> None:
        self.picture = picture

    async def next(self) -> Event | Snapshot:
        """Nothing more."""
        await asyncio.Event().wait()
        raise AssertionError

    async def ask(self, request: Request) -> str:
        """Nothing is asked."""
        return f"{request}"


def main() -> None:
    """Make all three."""
    draw_phases(DOCS / "phases.svg")
    # From within the folder, so that the report names runs as somebody who works there would.
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        coupon, plate = Path("runs/coupon"), Path("runs/plate")
        rehearse("coupon.toml", coupon)
        rehearse("diffuser.toml", plate, [coupon])
        photograph(plate.absolute() / "report.html", DOCS / "report.png")


def rehearse(job: str, run: Path, first_articles: Sequence[Path] = ()) -> None:
    """A whole job, its record in `run`; when it has so many holes, the screen is drawn on the way."""
    run.mkdir(parents=True)
    given = assignment(job, "virtual.toml", rehearsed=True, first_articles=first_articles)
    placed = placed_holes(given)
    start = start_record(given, STARTED, seed=SEED)
    picture = RunPicture(about("runs/plate", start, placed, expected_seconds(given)))
    journal = Journal(run, start, placed)
    core = controller_for(given)
    plant = load_plant()
    rehearsal = Rehearsal(core, given.machine, given.job, given.plan, plant, SEED, Sink(journal, picture))
    drawn = len(placed) < HOLE
    rehearsal.step(1)
    while rehearsal.ended is None:
        seen = core.snapshot()
        near = not drawn and seen.hole in {HOLE - 1, HOLE}
        rehearsal.step(given.machine.tick_hz // 10 if near else given.machine.tick_hz)
        picture.see(core.snapshot())
        if near and seen.hole == HOLE and seen.phase == "erode" and seen.feed_mm > DEPTH_MM:
            asyncio.run(draw_screen(picture, DOCS / "screen.svg"))
            drawn = True
    ended, machine_s = rehearsal.ended, rehearsal.time_s
    journal.close(
        StopRecord(outcome=ended.outcome, reason=ended.reason, machine_s=machine_s, wall_s=0.0, stopped_utc=STARTED)
    )
    if given.job.job.first_article:
        gauge_first_article(rehearsal.gauged_diameters_mm(), given, run, STARTED)
    complete_run_folder(run)


async def draw_screen(picture: RunPicture, path: Path) -> None:
    """The screen as it would stand in a terminal."""
    screen = RunScreen(Still(picture), OWNER)
    async with screen.run_test(size=SIZE) as pilot:
        await pilot.pause()
        await pilot.pause()
        path.write_text(screen.export_screenshot(title="gapwright"), encoding="utf-8")


def photograph(page: Path, path: Path) -> None:
    """The head of the report, by a browser."""
    browser = os.environ.get("BROWSER") or shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        sys.stderr.write("No chromium here: the report's picture is left as it is.\n")
        return
    width, height = REPORT_PX
    subprocess.run(  # noqa: S603 (a browser on a page of ours)
        [
            *(browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"),
            *(f"--screenshot={path}", f"--window-size={width},{height}", page.as_uri()),
        ],
        check=True,
        capture_output=True,
    )


def draw_phases(path: Path) -> None:
    """The phases and what leads from one to another, from the program's own table."""
    figure = Figure(figsize=(10.0, 7.0))
    FigureCanvasSVG(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(-1.75, 1.75)
    axes.set_ylim(-1.25, 1.2)
    if set(PLACES) != set(Phase):
        raise SystemExit(f"PLACES must say where these stand: {set(Phase) ^ set(PLACES)}")
    places = PLACES
    for row in ROWS:
        if row.after is Phase.FAULT:
            continue  # every phase leads there: said in words
        begin, end = places[row.before], places[row.after]
        arrow = FancyArrowPatch(
            begin, end, connectionstyle=f"arc3,rad={BEND}", arrowstyle="-|>", mutation_scale=12, shrinkA=30, shrinkB=30
        )
        arrow.set_color("#8b949e")
        axes.add_patch(arrow)
        # Half-way along the bow, which stands off its chord by half of what it bends.
        x = (begin[0] + end[0]) / 2 + BEND / 2 * (end[1] - begin[1])
        y = (begin[1] + end[1]) / 2 - BEND / 2 * (end[0] - begin[0])
        axes.text(x, y, row.trigger.value, ha="center", va="center", fontsize=8, color="#b35806", bbox=PAPER)
    for phase, (x, y) in places.items():
        box = {"boxstyle": "round,pad=0.45", "facecolor": "#eef3f7", "edgecolor": "#08519c"}
        axes.text(x, y, phase.value, ha="center", va="center", fontsize=11, bbox=box)
    axes.text(0.0, -1.18, "every phase leads to fault when a guard trips", ha="center", fontsize=9, color="#57606a")
    figure.savefig(path, metadata={"Date": None})


if __name__ == "__main__":
    main()
