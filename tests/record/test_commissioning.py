"""The commissioning record: one page with every check, its figures, and what is to be done."""

from __future__ import annotations

from dataclasses import fields

import pytest

from controller.core.events import Checked, Figure
from controller.record.commissioning import About, commissioning_text

ABOUT = About(**{field.name: f"the {field.name}" for field in fields(About)})
CHECKS = [
    Checked(1.0, "stop", "Stop input", "pass", "press: seen; release: seen"),
    Checked(2.0, "pump", "Pump", "fail", "no flow & no <water>", "look at the pump", (Figure("flow", 3.0, "s", 2),)),
    Checked(3.0, "travel", "Travel", "not done", "needs first: axes"),
]


@pytest.mark.parametrize("suffix", [".md", ".html"])
def test_everything_stands_in_the_record(suffix: str) -> None:
    text = commissioning_text(suffix, ABOUT, CHECKS)
    for wanted in ("the machine", "the reason", "Stop input", "press: seen", "flow 3.00 s", "not done", "needs first"):
        assert wanted in text
    assert text.count("look at the pump") == 1
    assert "licensed person" in text


def test_a_page_for_the_browser_needs_nothing_else_and_shows_what_was_written() -> None:
    text = commissioning_text(".html", ABOUT, CHECKS)
    assert "no flow &amp; no &lt;water&gt;" in text
    assert "http" not in text
    assert "A4" in text


def test_a_table_row_stays_one_row() -> None:
    rows = [line for line in commissioning_text(".md", ABOUT, CHECKS).splitlines() if line.startswith("| fail")]
    assert len(rows) == 1
    assert rows[0].count("|") == 5
