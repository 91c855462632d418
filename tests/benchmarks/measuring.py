"""`make bench-measuring SEED=…`: the controller's own schedule of measurements against "every N holes".

    python -m tests.benchmarks.measuring --seed 7 [--plants 0] [--holes 0] [--every 1,2,5,10,20,50] [--jobs 2]

The diffuser (or its first HOLES holes) on the default plant and on PLANTS drawn ones, once with the controller's own
schedule and once with each fixed one; everything else is the controller's own, measuring at start, at end and after an
advance included. The fixed schedules are put in from here, in place of the function that decides; the controller has no
switch for it.

A hole is out of size when its true exit is not the full diameter by the truth (as in the main job), or when it was
never finished. Too few measurements show there, in collisions and in shorts on the approach; too many in the machine
time.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from unittest.mock import patch

from rich.console import Console
from rich.table import Table

from controller.core import program
from controller.core.events import ElectrodeMeasured, Event
from controller.core.observation import Observation
from controller.core.rig import Rig
from tests.benchmarks.draw import draw
from tests.benchmarks.plants import PlantScore, rehearse_plant
from tests.benchmarks.score import TECHNOLOGY
from tests.benchmarks.unusual import unusual

WIDTH = 140
EVERY = (1, 2, 5, 10, 20, 50)
# The function that decides; where it stands, so that it can be replaced.
DECIDES = "measurement_due"


class EveryN:
    """Measures when so many holes were drilled since the last measurement; looks on to see other measurements."""

    def __init__(self, every: int) -> None:
        self._every = every
        self._since = 0
        self.asked = 0

    def __call__(self, rig: Rig) -> bool:
        """In the place of the controller's own decision: asked before every hole, unless an advance measures anyway."""
        self.asked += 1
        self._since += rig.hole > 0
        return self._since >= self._every

    def look(self, seen: Observation, events: Sequence[Event]) -> None:
        """Count from the last measurement, whatever it was for."""
        if any(isinstance(event, ElectrodeMeasured) for event in events):
            self._since = 0


@dataclass(slots=True, frozen=True)
class Errand:
    """One run; `every` 0 leaves the schedule to the controller."""

    draw_seed: int
    number: int
    holes: int
    every: int


def run(errand: Errand) -> PlantScore:
    """Rehearse with one schedule. Top-level, so that another process can be asked."""
    drawn = draw(errand.draw_seed, errand.number, TECHNOLOGY)
    if not errand.every:
        return rehearse_plant(drawn, errand.holes)
    schedule = EveryN(errand.every)
    with patch.object(program, DECIDES, schedule):
        found = rehearse_plant(drawn, errand.holes, [schedule])
    if not schedule.asked:
        raise RuntimeError(f"{program.__file__} does not ask {DECIDES} (a compiled build?): the schedule had no effect")
    return found


def schedule_table(errands: Sequence[Errand], found: Sequence[PlantScore], title: str) -> Table:
    """One schedule a row, all of its plants together."""
    heads = ("measured", "machine time", "against own", "measuring", "times", "out of size", "bent", "shorts", "calls")
    shown = Table(*heads, title=title)
    own_s = _sum(errands, found, 0, lambda one: one.score.machine_s)
    for every in sorted({errand.every for errand in errands}):

        def whole(what: Callable[[PlantScore], float], every: int = every) -> float:
            return _sum(errands, found, every, what)

        machine_s = whole(lambda one: one.score.machine_s)
        shown.add_row(
            f"every {every}" if every else "when it pays",
            f"{machine_s / 3600.0:.2f} h",
            f"{machine_s / own_s - 1.0:+.1%}",
            f"{whole(lambda one: one.score.measuring_s) / machine_s:.1%}",
            f"{whole(lambda one: one.measurements):.0f}",
            f"{whole(_out_of_size):.0f} of {whole(lambda one: one.score.holes):.0f}",
            f"{whole(lambda one: one.crashes):.0f}",
            f"{whole(lambda one: one.score.shorts):.0f}",
            f"{whole(lambda one: one.score.rescues):.0f}",
        )
    return shown


def _out_of_size(one: PlantScore) -> float:
    return one.score.holes - one.score.full_size


def _sum(
    errands: Sequence[Errand], found: Sequence[PlantScore], every: int, what: Callable[[PlantScore], float]
) -> float:
    return sum(what(one) for errand, one in zip(errands, found, strict=True) if errand.every == every)


def main() -> None:
    """Run all schedules on all plants and print a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plants", type=int, default=0, help="drawn plants beside the default one")
    parser.add_argument("--holes", type=int, default=0, help="first so many holes of the diffuser; 0 for all")
    parser.add_argument("--every", default=",".join(map(str, EVERY)))
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    schedules = [0, *(int(every) for every in asked.every.split(","))]
    numbers = range(asked.plants + 1)
    errands = [Errand(asked.seed, number, asked.holes, every) for number in numbers for every in schedules]
    with ProcessPoolExecutor(asked.jobs) as pool:
        found = list(pool.map(run, errands))
    screen = Console(width=WIDTH)
    for number in numbers:
        mine = [(errand, one) for errand, one in zip(errands, found, strict=True) if errand.number == number]
        words = "; ".join(unusual(draw(asked.seed, number, TECHNOLOGY))[:3]) if number else "the default"
        screen.print(schedule_table([e for e, _ in mine], [one for _, one in mine], f"plant {number}: {words}"))
    if len(numbers) > 1:
        screen.print(schedule_table(errands, found, "all plants"))


if __name__ == "__main__":
    main()
