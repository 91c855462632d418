"""Every state and every dialog at both sizes, as it stood when somebody last looked at it as a picture.

After a change that is meant: `SNAPSHOTS=write pytest tests/tui/test_snapshots.py`, look at what changed (`cat` shows
the colours), and commit it with the change.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from textual.app import App

from controller.cautions import cautions
from tests.record.made_up import places
from tests.tui import pictures
from tests.tui.pictures import Still
from tests.tui.test_finding import until_idle
from tui.app import RunScreen
from tui.before import Before
from tui.finding import Finding
from tui.rights import OWNER, REMOTE

KEPT = Path(__file__).parent / "snapshots"
SIZES = ((80, 24), (120, 40))
State = tuple[Callable[[], Still], Sequence[str], frozenset[str]]

STATES: dict[str, State] = {
    "before-the-first-word": (lambda: Still(pictures.bare()), (), OWNER),
    "eroding": (lambda: Still(pictures.eroding()), (), OWNER),
    "a-hole-chosen": (lambda: Still(pictures.eroding()), ("down", "down", "left"), OWNER),
    "hold-asked-for": (lambda: Still(pictures.eroding()), ("h",), OWNER),
    "held": (lambda: Still(pictures.waiting(pictures.HELD)), (), OWNER),
    "held-looked-past": (lambda: Still(pictures.waiting(pictures.HELD)), ("escape",), OWNER),
    "go-on": (lambda: Still(pictures.waiting(pictures.HELD)), ("escape", "g"), OWNER),
    "advance": (lambda: Still(pictures.waiting(pictures.ADVANCE)), (), OWNER),
    "advance-from-afar": (lambda: Still(pictures.waiting(pictures.ADVANCE)), (), REMOTE),
    "from-afar": (lambda: Still(pictures.eroding()), (), REMOTE),
    "skip": (lambda: Still(pictures.eroding()), ("s",), OWNER),
    "end": (lambda: Still(pictures.eroding()), ("x",), OWNER),
    "close": (lambda: Still(pictures.eroding()), ("q",), OWNER),
    "fault": (lambda: Still(pictures.broken(), "fault"), (), OWNER),
    "complete": (lambda: Still(pictures.done(), "complete"), (), OWNER),
    "broken-off": (lambda: Still(pictures.eroding(), "killed"), (), OWNER),
    "help": (lambda: Still(pictures.eroding()), ("question_mark",), OWNER),
    "log": (lambda: Still(pictures.eroding()), ("l",), OWNER),
    "few-holes": (lambda: Still(pictures.eroding(places(60, 10))), (), OWNER),
    "five-thousand-holes": (lambda: Still(pictures.eroding(places(5000, 100))), (), OWNER),
}


# What stands in front of a run: the cautions, and the screen on which a plate is found.
BEFORE: dict[str, tuple[Callable[[], App[Any]], Sequence[str]]] = {
    "cautions": (lambda: Before("Before plate starts", cautions()), ()),
    "find-a-corner": (lambda: Finding("plate · on bench", lambda _: ()), ("tab", "7", "0")),
    "find-a-boss": (lambda: Finding("plate · on bench", lambda _: ()), ("enter", "down", "down", "down", "enter")),
    "find-what": (lambda: Finding("plate · on bench", lambda _: ()), ("enter",)),
    "found": (lambda: Finding("plate · on bench", found), ("tab", *["tab"] * 6, "enter", "wait")),
    "figure-missing": (
        lambda: Finding("plate · on bench", lambda _: ()),
        ("enter", "down", "down", "enter", *["tab"] * 8, "enter"),
    ),
}


def found(words: Sequence[str]) -> Sequence[str]:
    """A command that tells a made-up corner."""
    told = ["Face at z -60.650 ± 0.017 mm at x 110.28, y 98.34.", "Corner at x 71.803 ± 0.007, y 63.406 ± 0.007 mm."]
    return [sys.executable, "-c", f"print({chr(10).join([' '.join(words), *told])!r})"]


@pytest.mark.parametrize("name", STATES)
async def test_it_looks_as_it_did(name: str) -> None:
    """On the least screen, and on a roomy one after the terminal was made larger."""
    made, keys, rights = STATES[name]
    await looks_as_kept(name, RunScreen(made(), rights), keys)


@pytest.mark.parametrize("name", BEFORE)
async def test_what_stands_in_front_of_a_run_looks_as_it_did(name: str) -> None:
    made, keys = BEFORE[name]
    await looks_as_kept(name, made(), keys)


async def looks_as_kept(name: str, shown_app: App[Any], keys: Sequence[str]) -> None:
    """Press the keys and compare; `wait` waits until nothing is being touched any more."""
    async with shown_app.run_test(size=SIZES[0]) as pilot:
        await pilot.pause()
        for key in keys:
            if key == "wait":
                await until_idle(pilot)
            else:
                await pilot.press(key)
            await pilot.pause()
        await pilot.pause()
        shown = {SIZES[0]: as_text(pilot.app, SIZES[0])}
        await pilot.resize_terminal(*SIZES[1])
        if isinstance(pilot.app, RunScreen):
            pilot.app.paint()
        await pilot.pause()
        shown[SIZES[1]] = as_text(pilot.app, SIZES[1])
    for size, text in shown.items():
        kept = KEPT / f"{name}-{size[0]}x{size[1]}.txt"
        if os.environ.get("SNAPSHOTS") == "write":
            KEPT.mkdir(exist_ok=True)
            kept.write_text(text, encoding="utf-8")
        assert text == kept.read_text(encoding="utf-8"), f"{kept.name} differs; see the head of this file"


def as_text(app: App[Any], size: tuple[int, int]) -> str:
    """What is on the screen, colours included."""
    console = Console(
        width=size[0],
        height=size[1],
        file=io.StringIO(),
        force_terminal=True,
        color_system="truecolor",
        record=True,
        legacy_windows=False,
        safe_box=False,
    )
    whole = app.screen._compositor.render_update(full=True, screen_stack=app._background_screens, simplify=True)
    console.print(whole)
    return console.export_text(styles=True)


def test_every_snapshot_is_of_a_state() -> None:
    names = {f"{name}-{size}.txt" for name in (*STATES, *BEFORE) for size in ("80x24", "120x40")}
    assert {kept.name for kept in KEPT.iterdir()} == names
