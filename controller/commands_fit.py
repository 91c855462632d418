"""`gapwright fit`: a plant file for rehearsals that behaves as a recorded run did."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from controller.fitting import Fitted, fit, rehearsals_needed
from controller.record.files import write_whole
from controller.record.journal import read_journal
from controller.screen import AsJson, BadUsage, HoleProgressBar, out
from sim.settings import load_plant


def fit_command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="The folder of the run.")],
    to: Annotated[
        Path | None,
        typer.Option(
            "--to", metavar="FILE", help="The plant file to write; never over another.", show_default="<RUN>-plant.toml"
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Fit the virtual plant to a run, say how well it fits, and write it for `rehearse --plant`."""
    record = read_journal(run)
    target = to or Path(f"{run.name}-plant.toml")
    if target.exists():
        raise BadUsage(f"{target}: is there already and is never written over; name another with --to")
    if target.suffix != ".toml" or not target.parent.is_dir():
        raise BadUsage(f"--to {target}: must end in .toml, in a folder that is there")
    total = rehearsals_needed()
    with HoleProgressBar(total, "fitting", quiet=as_json, what="rehearsals") as bar:
        fitted = fit(record, load_plant(), lambda done: bar.show(done, "", last=done == total))
    write_whole(target, _text(fitted, run))
    load_plant(target)
    if as_json:
        out.print(json.dumps(asdict(fitted) | {"plant": str(target)}, indent=2), markup=False, soft_wrap=True)
        return
    _show(fitted, target)


def _text(fitted: Fitted, run: Path) -> str:
    """The plant as an overlay on the default one."""
    tables: dict[str, list[str]] = {}
    for law, entry in sorted(fitted.changes.items()):
        table, key = law.split(".")
        tables.setdefault(table, []).append(f"{key} = {entry:.5g}")
    lines = [f"# Fitted to the first {fitted.holes} holes of {run}. Laid over the default plant by `rehearse --plant`."]
    for table, entries in tables.items():
        lines += ["", f"[{table}]", *entries]
    return "\n".join(lines) + "\n"


def _show(fitted: Fitted, target: Path) -> None:
    table = Table("figure", "run", "default plant", "fitted plant", "off by", box=None, pad_edge=False)
    for name, recorded in fitted.recorded.items():
        mean, spread = fitted.after.get(name, (0.0, 0.0))
        old_mean, old_spread = fitted.before.get(name, (0.0, 0.0))
        off = f"{100 * (mean / recorded - 1):+.0f} %" if recorded else f"{mean - recorded:+.2g}"
        table.add_row(name, f"{recorded:.3g}", f"{old_mean:.3g} ± {old_spread:.2g}", f"{mean:.3g} ± {spread:.2g}", off)
    out.print(table, highlight=False)
    words = f"Rests on the first {fitted.holes} holes; ± is the spread over four rehearsals with fresh seeds."
    for line in (words, f"Written: {target}. Rehearse with it: --plant {target}"):
        out.print(line, markup=False, highlight=False, soft_wrap=True)
