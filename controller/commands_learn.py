"""`gapwright learn`: better figures from runs that are over, and the user's own technology file."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from controller.record.files import write_whole
from controller.record.journal import read_journal
from controller.record.lessons import Lesson, Lessons, learn_from
from controller.screen import AsJson, BadUsage, out
from controller.settings.find import packaged_configs
from controller.settings.load import load_text
from controller.settings.technology import Guess, Technology
from controller.settings.text import settings_text

DIGITS = 3
"""Significant digits of a proposed figure; its uncertainty is a few per cent at best."""


def learn(
    runs: Annotated[list[Path], typer.Argument(metavar="RUN…", help="Folders of runs of one machine and technology.")],
    write: Annotated[bool, typer.Option("--write", help="Write your own technology file; tells where.")] = False,
    to: Annotated[
        Path | None,
        typer.Option(
            "--to", metavar="FILE", help="Write here instead.", show_default="configs/technology/<technology>.toml"
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say what runs teach of removal, wear, overcut and drop-outs; write it down when told to."""
    records = [read_journal(run) for run in runs]
    lessons = learn_from(records)
    name = records[0].start.technology
    target = to or Path("configs") / "technology" / f"{name}.toml"
    written, kept = None, None
    if write or to is not None:
        if lessons.rehearsed and to is None:
            raise BadUsage(
                "these runs are rehearsals: they teach what the virtual machine does, not yours; to write them down "
                "all the same name a file with --to"
            )
        written, kept = target, _write(target, lessons, runs)
    if as_json:
        told = {
            "lessons": [
                asdict(lesson) | {"proposed": _rounded(lesson.proposed).model_dump()} for lesson in lessons.lessons
            ]
        }
        told_more = {
            "drop_outs": None if lessons.drop_outs is None else lessons.drop_outs.model_dump(),
            "removed_mm3": lessons.removed_mm3,
            "written": None if written is None else str(written),
        }
        out.print(json.dumps(_plain(told | told_more), indent=2), markup=False, highlight=False, soft_wrap=True)
        return
    out.print(_table(lessons), highlight=False)
    for line in _lines(lessons, written, kept, target):
        out.print(line, markup=False, highlight=False, soft_wrap=True)


def _plain(held: object) -> object:
    """Models among plain things, as plain things."""
    if isinstance(held, Guess):
        return held.model_dump()
    if isinstance(held, dict):
        return {key: _plain(entry) for key, entry in held.items()}
    return [_plain(entry) for entry in held] if isinstance(held, list) else held


def _table(lessons: Lessons) -> Table:
    table = Table("figure", "believed", "proposed", "holes", "rests on", box=None, pad_edge=False)
    for lesson in lessons.lessons:
        table.add_row(
            lesson.key,
            _spoken(lesson.believed),
            _spoken(_rounded(lesson.proposed)) if lesson.learned else "as it was",
            f"{lesson.holes}" if lesson.learned else "",
            _odd(lesson),
        )
    return table


def _odd(lesson: Lesson) -> str:
    """What it rests on, and whether it is a surprise."""
    believed = lesson.believed
    if lesson.learned and abs(lesson.proposed.guess - believed.guess) > 3.0 * believed.u:
        return f"{lesson.why}; far from what was believed"
    return lesson.why


def _spoken(guess: Guess) -> str:
    return f"{guess.guess:.3g} ± {guess.u:.2g}"


def _rounded(guess: Guess) -> Guess:
    return Guess(guess=float(f"{guess.guess:.{DIGITS}g}"), u=float(f"{guess.u:.{DIGITS}g}"))


def _lines(lessons: Lessons, written: Path | None, kept: Path | None, target: Path) -> list[str]:
    lines = [f"Removed {lessons.removed_mm3:.0f} mm³ of metal, which is now in the water, the filter and the sludge."]
    drops = lessons.drop_outs
    if drops is not None:
        lines.append(
            f"Drop-outs under load: {drops.rate_hz:.2g} a second, median {1e3 * drops.median_s:.0f} ms, hardly ever "
            f"longer than {1e3 * drops.longest_s:.0f} ms ([drop_outs] of the machine file; `gapwright check` measures "
            f"them without load)."
        )
    if written is not None:
        lines.append(f"Written: {written}. Jobs run from this folder believe it from now on.")
    else:
        lines.append(f"Nothing was written. To believe these figures from now on: --write (into {target}).")
    if kept is not None:
        lines.append(f"The file that stood there is kept as {kept}.")
    return lines


def _write(target: Path, lessons: Lessons, runs: list[Path]) -> Path | None:
    """Write the technology; what stood there is kept under another name, which is returned."""
    if target.resolve().is_relative_to(packaged_configs().resolve()):
        raise BadUsage(
            f"{target}: is a shipped file and never changes; work in a folder of your own, or name one by --to"
        )
    taught = lessons.taught()
    taught = taught.model_copy(
        update={lesson.key: _rounded(lesson.proposed) for lesson in lessons.lessons if lesson.learned}
    )
    stamp = datetime.now(UTC)
    heading = [
        f"# Learned {stamp:%Y-%m-%d} from {', '.join(map(str, runs))}: figures and their standard uncertainties.",
        *(f"#   {lesson.key}: {lesson.holes} holes, {lesson.why}" for lesson in lessons.lessons if lesson.learned),
        "",
    ]
    text = "\n".join(heading) + settings_text(taught)
    load_text(text, str(target), Technology)
    kept = None
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists():
            kept = target.with_name(f"{target.stem}-before-{stamp:%Y%m%d-%H%M%S}{target.suffix}")
            target.rename(kept)
        write_whole(target, text)
    except OSError as error:
        raise BadUsage(f"{target}: can't be written: {error.strerror}") from error
    return kept
