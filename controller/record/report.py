"""`report.html`: what a run did, as one page that needs no other file and prints well."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from controller.core.events import HoleFinished
from controller.record import against_truth, figures
from controller.record.by_hand import grouped, holes_to_check, standing_out
from controller.record.drawing import Chart
from controller.record.files import write_whole
from controller.record.hole_map import hole_map
from controller.record.journal import RunRecord
from controller.record.story import story
from controller.record.summary import Summary, clock_time, holes_words, spoken_time, summarise

REPORT_NAME = "report.html"

# Longest lists shown in full on the page: chosen so that a page of 5000 holes still opens and prints at once.
MOST_LINES = 400
# Holes named for one reason before the map has to do: chosen so that a reason stays a few lines.
MOST_NAMED = 24
# Most holes whose figures stand in a table of the page; of more there is holes.csv. Chosen, as above.
MOST_ROWS = 1000


@dataclass(slots=True, frozen=True)
class HoleRow:
    """A line of the table of all holes: the hole, and its true exit diameter (mm) where that is known."""

    hole: HoleFinished
    true_mm: float | None


def write_report(run: Path, record: RunRecord) -> Path:
    """Write `report.html` into the folder of the run and return its path."""
    path = run / REPORT_NAME
    write_whole(path, report_html(record))
    return path


def report_html(record: RunRecord) -> str:
    """The report of a run as one self-contained page."""
    summary = summarise(record)
    check, drilled = grouped(holes_to_check(record)), len(record.finished())
    told = story(record.events)
    return (
        _environment()
        .get_template("report.html.j2")
        .render(
            start=record.start,
            stop=record.stop,
            summary=summary,
            facts=_facts(record, summary),
            map=hole_map(record, standing_out(check, drilled)),
            charts=_charts(record),
            check=check,
            most_named=MOST_NAMED,
            drilled=drilled,
            told=told[:MOST_LINES],
            told_more=max(0, len(told) - MOST_LINES),
            rows=_rows(record),
            gauged=record.gauged,
            agreements=_agreements(record),
            blind=against_truth.called_done_but_blind(record),
            unnoticed=against_truth.through_but_unnoticed(record),
            cautions=CAUTIONS,
        )
    )


def _rows(record: RunRecord) -> list[HoleRow]:
    """The figures of every hole; none for so many that nobody reads them on a page."""
    truths = {truth.hole: truth.exit_diameter_mm for truth in record.true_holes}
    finished = sorted(record.finished().items())
    if len(finished) > MOST_ROWS:
        return []
    return [HoleRow(hole, truths.get(number)) for number, hole in finished]


# Hazards and limits: references.md §9 (IEC 60204-1, ISO 28881, 29 CFR 1910.303) and common practice, no source.
CAUTIONS = (
    "The source is about 64 V open: above the 60 V DC touch limit even when dry, and far above it when wet.",
    "Before hands go near the electrode: switch the supply off at its isolator, wait 5 s, check with a meter.",
    "The program is not the safety device. Emergency stop, guard and tank level are hard-wired.",
    "A licensed person checks the build before it is switched on. Local codes come first.",
    "Ventilate: sparks in water make hydrogen and fume. Never replace the water by a hydrocarbon: it burns.",
    "Fines are sharp and hot; sludge holds metal and may be classified waste.",
    "Don't leave a live machine unattended without the hard-wired protections.",
    "Estimated diameters are estimates. Check the holes named on this page, and some of the others, with pins.",
)


def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("controller.record"),
        autoescape=select_autoescape(enabled_extensions=("html", "html.j2", "svg.j2")),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["spoken_time"] = spoken_time
    environment.filters["clock"] = clock_time
    environment.filters["capitalize_first"] = lambda words: words[:1].upper() + words[1:]
    return environment


def _charts(record: RunRecord) -> list[Chart]:
    return [
        figures.exit_chart(record),
        figures.length_chart(record),
        figures.prediction_chart(record),
        figures.time_chart(record),
        figures.wear_chart(record),
        figures.gap_chart(record),
    ]


def _facts(record: RunRecord, summary: Summary) -> list[tuple[str, str]]:
    """The short table under the verdict."""
    start, machine_s, measure_s = record.start, max(summary.machine_seconds, 1e-9), summary.measure_seconds
    facts = [
        (
            "Holes",
            holes_words(summary),
        ),
        ("Size wanted", f"{start.diameter_mm:.3f} ± {start.tolerance_mm:.3f} mm through {start.thickness_mm:g} mm"),
        ("Exit by estimate", _exit_range(summary)),
        ("Overcut believed", f"{start.overcut_mm:.3f} ± {start.overcut_u_mm:.3f} mm a side ({start.overcut_from})"),
        ("Machine time", spoken_time(summary.machine_seconds)),
        ("Eroding", f"{spoken_time(summary.erode_seconds)} ({summary.erode_seconds / machine_s:.0%})"),
        (
            "Measuring",
            f"{spoken_time(measure_s)} ({measure_s / machine_s:.1%}), {summary.measurements} measurements",
        ),
        ("Electrode", f"{summary.electrode_used_mm:.1f} mm used, {summary.electrode_advances} advances"),
        ("Shorts", f"{summary.shorts}, recoveries {summary.recoveries}"),
        ("Operator", f"{summary.operator_prompts} prompts, {summary.operator_rescues} of them not planned"),
    ]
    if summary.hot_openings:
        facts.append(("Source contact", f"opened under current {summary.hot_openings} times: inspect its tips"))
    return facts


def _exit_range(summary: Summary) -> str:
    if summary.exit_diameter_mean_mm is None:
        return "no hole through"
    least, largest = summary.exit_diameter_least_mm, summary.exit_diameter_largest_mm
    return f"mean {summary.exit_diameter_mean_mm:.3f} mm, {least:.3f} to {largest:.3f} mm"


def _agreements(record: RunRecord) -> list[against_truth.Agreement]:
    sets = (
        ("Exit diameter", against_truth.exit_estimates(record)),
        ("Tip length", against_truth.tip_estimates(record)),
    )
    return [found for what, estimates in sets if (found := against_truth.agreement(what, estimates)) is not None]
