"""`gapwright upkeep`: what of water, filter, plate and contact is due, by the records of the runs since."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from controller.record.journal import JOURNAL_NAME, read_journal
from controller.record.located import STAMP
from controller.record.upkeep import PARTS, Done, RunUse, State, append_done, read_done, states, upkeep_file, use_of
from controller.screen import AsJson, BadUsage, out
from controller.settings.load import load_machine, resolve

WORDS = {
    "water": "change the water; sludge is waste to be classified",
    "filter": "clean the filter; fines are sharp, sludge is waste to be classified",
    "plate": "wipe the reference plate",
    "contact": "isolator off, 5 s, meter; then look at the source contact",
}


def upkeep(
    machine: Annotated[str, typer.Option("--machine", help="Machine file: a path or a name. There is no default.")],
    runs: Annotated[Path, typer.Option("--runs", metavar="DIR", help="Folder that holds the run folders.")] = Path(
        "runs"
    ),
    done: Annotated[
        list[str] | None,
        typer.Option("--done", metavar="PART", help="Seen to just now: water, filter, plate, contact."),
    ] = None,
    rehearsed: Annotated[bool, typer.Option("--rehearsed", help="Count the rehearsals, to see how it works.")] = False,
    as_json: AsJson = False,
) -> None:
    """Say what is to be cleaned, changed or looked at; count anew what was seen to."""
    name = load_machine(resolve(machine, kind="machines")).name
    kept = upkeep_file(Path(), name)
    now = f"{datetime.now(UTC):{STAMP}}"
    unknown = [part for part in done or () if part not in PARTS]
    if unknown:
        raise BadUsage(f"--done {unknown[0]}: must be one of {', '.join(PARTS)}")
    if done:
        append_done(kept, [Done(what=part, when_utc=now) for part in PARTS if part in done])
    uses = _uses(runs, name, rehearsed=rehearsed)
    found = states(uses, read_done(kept))
    if as_json:
        told = {
            "runs": len(uses),
            "parts": [asdict(state) | {"due": state.due} for state in found],
            "removed_mm3": sum(use.removed_mm3 for use in uses),
        }
        out.print(json.dumps(told, indent=2), markup=False, highlight=False, soft_wrap=True)
        return
    _show(uses, found, name, runs)


def _uses(runs: Path, machine: str, *, rehearsed: bool) -> list[RunUse]:
    """What the runs of this machine used; folders without a journal are none."""
    folders = sorted(journal.parent for journal in runs.glob(f"*/{JOURNAL_NAME}")) if runs.is_dir() else []
    records = (read_journal(folder) for folder in folders)
    return [
        use_of(record) for record in records if record.start.machine == machine and record.start.rehearsed == rehearsed
    ]


def _show(uses: list[RunUse], found: list[State], machine: str, runs: Path) -> None:
    hours = sum(use.eroding_h for use in uses)
    removed = sum(use.removed_mm3 for use in uses)
    table = Table("part", "used", "since it was seen to", "to do", box=None, pad_edge=False)
    for state in found:
        todo = WORDS[state.part] if state.due else ""
        style = "bold yellow" if state.due else ""
        table.add_row(state.part, f"{100 * state.share:.0f} %", state.words, todo, style=style)
    holes = sum(use.holes for use in uses)
    words = (
        f"{machine}: {len(uses)} runs in {runs}, {holes} holes, {hours:.1f} h of eroding; {removed:.0f} mm³ of metal "
        f"are in tank, filter and sludge."
    )
    out.print(words, markup=False, highlight=False, soft_wrap=True)
    out.print(table, highlight=False)
    due = [state.part for state in found if state.due]
    last = (
        f"When it is done: gapwright upkeep --machine {machine} {' '.join(f'--done {part}' for part in due)}"
        if due
        else "Nothing is due."
    )
    out.print(last, markup=False, highlight=False, soft_wrap=True)
