"""`make bench-wires SEED=…`: what the two wires must reach, measured in real time on the virtual machine's ports.

    python -m tests.benchmarks.wires --seed 1 [--only shorts,lateness,attached,deaths,steps,replays] [--minutes 4]

Times are measured behind the virtual boards, by the truth; USB adds 1–16 ms each way on real hardware (wires.md). The
figures hold for the load that the computer has meanwhile, which is printed. What must be is printed beside what is
aimed at and what was measured; the exit code is 1 when something misses what must be.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from statistics import median

from rich.console import Console
from rich.table import Table

from controller.settings.find import resolve
from controller.settings.load import load_machine
from tests.benchmarks.wires.attached import percentile_ms, watched
from tests.benchmarks.wires.deaths import WAYS, died
from tests.benchmarks.wires.lateness import late
from tests.benchmarks.wires.replays import replayed
from tests.benchmarks.wires.shorts import Answers, measured, percentile
from tests.benchmarks.wires.steps import Ledger, kept

CONVENTIONS = ("status", "ack")
MS = 1e3
# What must be and what is aimed at, from true short to first reversed step, and to the tip 5 µm away (ms).
REVERSED_MS = {"status": (35.0, 12.0), "ack": (50.0, 25.0)}
AWAY_MS = {"status": (60.0, 30.0), "ack": (80.0, 40.0)}
# Lateness that 99.9 % of the ticks do not exceed at 200 Hz: with a fixed priority, and without (ms).
LATE_MS = {True: (1.0, 0.2), False: (5.0, 0.2)}
SOURCE_OFF_MS, WATER_OFF_MS = 120.0, 2000.0
REPLAY_TIMES = 100.0
LATENESS_S = 60.0
# In all with nobody and in all with everybody (s), of one run.
ATTACHED_S = 90.0
# With everybody attached against nobody; the screen's share of a core, and its first picture (s).
ATTACHED_MOST, SCREEN_MOST, PAINT_MOST_S = 1.2, 0.15, 1.0
# How long a count may be believed that a reset has made wrong (s): until the board is missed. Chosen: the link's own
# time for a silent board (0.5 s) and two ticks.
BELIEVED_S = 0.52
# A step of the feed axis is counted as whole; half of the finest one (µm). Chosen.
ROUNDING_UM = 0.1


@dataclass(slots=True, frozen=True)
class Row:
    """One line of the table; `good` is None for what is only shown."""

    what: str
    must: str
    aim: str
    found: str
    good: bool | None


def shorts(folder: Path, seed: int, minutes: float) -> list[Row]:
    """True shorts: both conventions, with the front end that tells them and one that does not."""
    rows = []
    for front_end, convention in product(("biased", "clamp"), CONVENTIONS):
        found = measured(folder / f"{convention}-{front_end}", convention, front_end, 100, 60.0 * minutes, seed)
        rows += short_rows(found, convention, front_end)
    return rows


def short_rows(found: Answers, convention: str, front_end: str) -> list[Row]:
    """The rows of one measurement."""
    told = front_end == "biased"
    at, name = f"{convention}, {front_end}", f"{len(found.reversed)} shorts"
    rows = []
    for what, times, (must, aim) in (
        ("true short → first reversed step", found.reversed, REVERSED_MS[convention]),
        ("true short → tip 5 µm away", found.away, AWAY_MS[convention]),
    ):
        p50, p99 = MS * percentile(times, 0.5), MS * percentile(times, 0.99)
        words = f"p50 {p50:.1f}, p99 {p99:.1f} ms ({name})"
        limits = (f"≤ {must:.0f} ms", f"≤ {aim:.0f} ms") if told else ("shown", "")
        rows.append(Row(f"{what}: {at}", *limits, words, p99 <= must if told else None))
    p50, p99 = MS * percentile(found.board, 0.5), MS * percentile(found.board, 0.99)
    alone = f"{found.by_itself} over by themselves, the longest {MS * found.longest_s:.0f} ms"
    rows.append(
        Row(f"  of it retreat on the wire → step: {at}", "shown", "", f"p50 {p50:.1f}, p99 {p99:.1f} ms; {alone}", None)
    )
    if found.slips:
        rows.append(Row(f"  the computer was too slow for {at}", "0", "", f"{found.slips} times", None))
    return rows


def lateness(folder: Path, _seed: int, _minutes: float) -> list[Row]:
    """With a fixed priority and without."""
    rows = []
    for fixed in (True, False):
        found = late(folder / f"late-{fixed}", LATENESS_S, fixed_priority=fixed)
        must, aim = LATE_MS[fixed]
        with_or = "with" if fixed else "without"
        words = f"p99.9 {found.p999_ms:.2f} ms, worst {found.worst_ms:.2f} ms, {found.missed} of {found.ticks} missed"
        rows.append(
            Row(f"lateness at 200 Hz, {with_or} FIFO", f"≤ {must:g} ms", f"≤ {aim:g} ms", words, found.p999_ms <= must)
        )
        if not fixed:
            rows.append(Row("  refusals on record", "2", "", str(len(found.refused)), len(found.refused) == 2))
    return rows


def attached(folder: Path, _seed: int, _minutes: float) -> list[Row]:
    """With screen, watchers, browser and MQTT against without: on cores that may sleep, and on awake ones."""
    rows = []
    for awake in (False, True):
        found = watched(folder / f"attached-{awake}", ATTACHED_S, awake=awake)
        (alone_ms, usual_ms), (attended_ms, attended_usual_ms) = (
            (percentile_ms(late_s, 0.999), percentile_ms(late_s, 0.99)) for late_s in (found.alone, found.attended)
        )
        ratio = attended_ms / alone_ms
        words = f"{ratio:.2f} (p99.9 {attended_ms:.2f} against {alone_ms:.2f} ms; p99 {attended_usual_ms:.2f} "
        words += f"against {usual_ms:.2f}; {len(found.attended)} against {len(found.alone)} ticks)"
        words += "" if found.brokered else "; no broker on this computer"
        where = "beside a busy core" if awake else "by itself"
        rows.append(Row(f"lateness, everybody attached ÷ nobody, {where}", "≤ 1.2", "", words, ratio <= ATTACHED_MOST))
        if awake:
            continue
        share, paint_s = found.screen_share, median(found.first_paints_s)
        paints = f"{paint_s:.2f} s, the slowest of {len(found.first_paints_s)} {max(found.first_paints_s):.2f} s"
        rows += [
            Row("  the screen's processor time", "≤ 15 %", "", f"{share:.1%} of a core", share <= SCREEN_MOST),
            Row("  first paint, from the command", "≤ 1 s", "", paints, paint_s <= PAINT_MOST_S),
        ]
    return rows


def deaths(folder: Path, seed: int, _minutes: float) -> list[Row]:
    """Every way, two at a time."""
    cases = list(product(CONVENTIONS, WAYS))
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda case: died(folder / f"{case[0]}-{case[1]}".replace(" ", "-"), *case, seed), cases))
    rows = []
    for death in found:
        useful_um = load_machine(resolve(f"{death.convention}.toml", kind="machines")).useful_move_um
        words = f"{MS * death.source_s:.0f} ms; {death.water_s:.2f} s; "
        words += f"{death.forward_um:.1f} µm (face {death.face_um:.1f})"
        good = MS * death.source_s <= SOURCE_OFF_MS and MS * death.water_s <= WATER_OFF_MS
        good = good and death.forward_um <= useful_um + ROUNDING_UM
        must = f"≤ 120 ms; ≤ 2 s; ≤ {useful_um:.1f} µm"
        rows.append(Row(f"host {death.way}, {death.convention}: source, pump, forward", must, "", words, good))
    return rows


def steps(folder: Path, seed: int, _minutes: float) -> list[Row]:
    """A coupon to its end with resends, and coupons with a reset somewhere."""
    rows = []
    for convention in CONVENTIONS:
        calm = kept(folder / convention, convention, seed, resets=False)
        rows.append(steps_row(f"steps sent = executed over a coupon, {convention}", [calm]))
        reset = [kept(folder / convention, convention, seed + n, resets=True) for n in range(1, 4)]
        rows.append(steps_row(f"  with a reset somewhere, {convention}", reset))
    return rows


def steps_row(what: str, found: Sequence[Ledger]) -> Row:
    """One row of several runs."""
    compared, equal = sum(each.compared for each in found), sum(each.equal for each in found)
    resends, resets = sum(each.resends for each in found), sum(each.resets for each in found)
    injected = f"{resends} resends, {sum(each.spoilt for each in found)} bytes, {resets} resets"
    wrong_s = max(each.wrong_s for each in found)
    ended = ", ".join(each.outcome for each in found)
    words = f"{equal} of {compared} counts equal, wrong for {wrong_s:.2f} s at most; {injected}; ended {ended}"
    return Row(what, "equal or known unknown", "", words, all(each.holds for each in found) and wrong_s <= BELIEVED_S)


def replays(folder: Path, seed: int, _minutes: float) -> list[Row]:
    """Ten minutes of each convention."""
    rows = []
    for convention in CONVENTIONS:
        found = replayed(folder / convention, convention, seed)
        same = "identical" if found.same else "DIFFERS"
        times = f"{found.times_wall:.0f} × real ({found.times_processor:.0f} × by the processor's clock)"
        words = f"{same}, {found.events} events; {times}"
        rows.append(Row(f"replay of ten minutes, {convention}", "identical", "≥ 100 × real", words, found.same))
    return rows


PARTS: dict[str, Callable[[Path, int, float], list[Row]]] = {
    "shorts": shorts,
    "lateness": lateness,
    "attached": attached,
    "deaths": deaths,
    "steps": steps,
    "replays": replays,
}


def main() -> None:
    """Measure what was asked for and print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default=",".join(PARTS), help="parts, by commas")
    parser.add_argument("--minutes", type=float, default=4.0, help="of drilling for each measurement of shorts")
    given = parser.parse_args()
    names = given.only.split(",")
    if unknown := [name for name in names if name not in PARTS]:
        parser.error(f"no part is named {', '.join(unknown)}; there are {', '.join(PARTS)}")
    rows: list[Row] = []
    console = Console()
    with tempfile.TemporaryDirectory(prefix="gapwright-wires-") as folder:
        for name in names:
            console.print(f"{name} … (load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors)", highlight=False)
            rows += PARTS[name](Path(folder) / name, given.seed, given.minutes)
    console.print(table(rows))
    sys.exit(any(row.good is False for row in rows))


def table(rows: Sequence[Row]) -> Table:
    """All rows; what misses what must be stands out."""
    shown = Table("what", "must", "aim", "measured", title="the wires, in real time")
    for row in rows:
        style = {None: "dim", True: "green", False: "bold red"}[row.good]
        shown.add_row(row.what, row.must, row.aim, f"[{style}]{row.found}[/{style}]")
    return shown


if __name__ == "__main__":
    main()
