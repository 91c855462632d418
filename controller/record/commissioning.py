"""The commissioning record: one page that says what was checked, what was found, and what is to be done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from controller.core.events import Checked
from controller.record.files import write_whole

KINDS: Final = {".md": "commissioning.md.j2", ".html": "commissioning.html.j2"}


@dataclass(slots=True, frozen=True)
class About:
    """What a commissioning was about, in words.

    Args:
        machine, machine_file: Its name, and the file.
        convention, board_port, sampler_port, front_end: What it is made of.
        when_utc, took: When it began, and how long it lasted.
        outcome, reason: How it ended.
        versions, loop: What computed, and how well on time.
        calibration: What is believed from now on, and where that stands; empty when nothing was measured.
    """

    machine: str
    machine_file: str
    convention: str
    board_port: str
    sampler_port: str
    front_end: str
    when_utc: str
    took: str
    outcome: str
    reason: str
    versions: str
    loop: str
    calibration: str


def write_commissioning(path: Path, about: About, checks: Sequence[Checked]) -> None:
    """Write the record, as Markdown or as a page for a browser by the name of its file. Raises OSError."""
    write_whole(path, commissioning_text(path.suffix, about, checks))


def commissioning_text(suffix: str, about: About, checks: Sequence[Checked]) -> str:
    """The record as text; `suffix` is `.md` or `.html`."""
    environment = Environment(
        loader=PackageLoader("controller.record"),
        autoescape=select_autoescape(enabled_extensions=("html.j2",)),
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    to_do = [check for check in checks if check.remedy and check.outcome != "pass"]
    return environment.get_template(KINDS[suffix]).render(about=about, checks=checks, to_do=to_do, figures=_figures)


def _figures(check: Checked) -> str:
    return "; ".join(figure.words() for figure in check.figures)
