"""How the end of a run is told: the summary in words, and the exit code of its outcome."""

from __future__ import annotations

from pathlib import Path

from rich.table import Table

from controller.record.summary import Summary, holes_words, spoken_time, times
from controller.screen import out

# Exit codes by outcome, frozen in interfaces.md ("Commands").
EXIT = {"complete": 0, "held": 3, "fault": 4, "aborted": 130}


def show_summary(summary: Summary, folder: Path) -> None:
    """The end of a run in words."""
    table = Table(show_header=False, box=None, pad_edge=False)
    for name, words in _summary_rows(summary):
        table.add_row(f"[bold]{name}[/bold]", words)
    out.print()
    out.print(
        summary.sentence(), style="bold green" if summary.outcome == "complete" else "bold yellow", highlight=False
    )
    out.print(table, highlight=False)
    out.print(f"Report: {folder / 'report.html'}", markup=False, highlight=False, soft_wrap=True)


def _summary_rows(summary: Summary) -> list[tuple[str, str]]:
    took, eroding = spoken_time(summary.machine_seconds), spoken_time(summary.erode_seconds)
    measured = f"{summary.measurements} times, {spoken_time(summary.measure_seconds)}"
    share = summary.measure_seconds / summary.machine_seconds if summary.machine_seconds else 0.0
    return [
        ("Holes", holes_words(summary)),
        ("Exit size", _exit_words(summary)),
        ("Time", f"{took} of machine time, eroding {eroding}"),
        ("Electrode", f"{summary.electrode_used_mm:.1f} mm worn off, advanced {summary.electrode_advances} times"),
        ("Measured", f"{measured} ({share:.1%} of the time)"),
        ("Shorts", f"{summary.shorts}, recoveries {summary.recoveries}; opened hot: {times(summary.hot_openings)}"),
        ("Operator", f"{summary.operator_prompts} prompts, {summary.operator_rescues} of them not planned"),
        ("Took", f"{spoken_time(summary.wall_seconds)} of wall time"),
    ]


def _exit_words(summary: Summary) -> str:
    if summary.exit_diameter_mean_mm is None:
        return "no hole through"
    least, largest = summary.exit_diameter_least_mm, summary.exit_diameter_largest_mm
    return f"mean {summary.exit_diameter_mean_mm:.3f} mm by estimate, {least:.3f} to {largest:.3f} mm"
