"""A plate found on the screen: by keys alone, by the mouse alone, stopped, refused, and with the screen closed."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from time import monotonic
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Button, Input, Static

from tui.finding import Finding

DEADLINE_S = 20.0
TELLS = "import sys; print('said ' + ' '.join(sys.argv[1:]))"
# Says that it began, and goes on until it is asked to stop; then says so, as the real one does.
GOES_ON = (
    "import signal, sys, time\n"
    "def over(*_):\n    print('the tip rises'); sys.exit(130)\n"
    "signal.signal(signal.SIGINT, over)\n"
    "print('touching', flush=True)\n"
    "time.sleep(60)"
)


def telling(words: Sequence[str]) -> Sequence[str]:
    """A command that says what it was told."""
    return [sys.executable, "-c", TELLS, *words]


def shown(app: Finding) -> str:
    """What stands among the words."""
    return app.query_one("#lines", Static).render().plain  # type: ignore[union-attr]


async def until(pilot: Pilot[Any], true: Callable[[], bool]) -> None:
    end_s = monotonic() + DEADLINE_S
    while not true():
        assert monotonic() < end_s, "never came"
        await asyncio.sleep(0.02)
        await pilot.pause()


async def until_idle(pilot: Pilot[Any]) -> None:
    """Wait until what is being touched has been."""
    app = pilot.app
    assert isinstance(app, Finding)
    await pilot.pause()
    await until(pilot, lambda: not app.touching)


def button(app: Finding, name: str) -> Button:
    return next(each for each in app.query(Button) if each.name == name)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_with_keys_alone(size: tuple[int, int]) -> None:
    app = Finding("plate", telling)
    async with app.run_test(size=size) as pilot:
        await pilot.press("tab", "7", "0", "enter", "6", "5", "enter", "8", "enter", "enter", "enter", "enter", "enter")
        await until_idle(pilot)
        assert "said corner --near 70 65 --turned 8" in shown(app)
        await pilot.press("escape")
    assert not app.is_running


async def test_with_the_mouse_alone() -> None:
    app = Finding("plate", telling)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.click("#what Select")
        await pilot.pause()
        await pilot.click("#what Select", offset=(4, 8))
        await pilot.pause()
        assert app._key() == "reference"
        await pilot.click(button(app, "touch"))
        await pilot.pause()
        assert "is missing" in shown(app)  # the rod's length
        await pilot.press("4", "5")
        await pilot.click(button(app, "touch"))
        await until_idle(pilot)
        assert "said reference --tip 45" in shown(app)
        await pilot.click(button(app, "close"))
    assert not app.is_running


async def test_what_is_being_touched_is_stopped_in_order_before_the_screen_closes() -> None:
    app = Finding("plate", lambda _: [sys.executable, "-c", GOES_ON])
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.click(button(app, "touch"))
        await until(pilot, lambda: "touching" in shown(app))
        assert button(app, "touch").disabled
        assert button(app, "close").disabled
        await pilot.press("escape")
        assert app.is_running
        await until_idle(pilot)
        assert "the tip rises\nNothing was kept." in shown(app)
        assert not button(app, "touch").disabled
        await pilot.press("escape")
    assert not app.is_running


async def test_a_screen_that_goes_does_not_reach_what_is_being_touched(tmp_path: Path) -> None:
    """It works on, and has somewhere to say what it has to."""
    done = tmp_path / "done"
    works = f"import time, pathlib; time.sleep(1.0); print('found'); pathlib.Path({str(done)!r}).touch()"
    app = Finding("plate", lambda _: [sys.executable, "-c", works])
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.click(button(app, "touch"))
        await until(pilot, lambda: app.touching)
        app.exit()
    end_s = monotonic() + DEADLINE_S
    while not done.exists():
        assert monotonic() < end_s
        await asyncio.sleep(0.05)


async def test_a_mistake_is_said_and_its_field_is_where_one_stands() -> None:
    app = Finding("plate", telling)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("tab", "x")
        await pilot.click(button(app, "touch"))
        await pilot.pause()
        assert "x is no number" in shown(app)
        assert isinstance(app.focused, Input)
        assert app.focused.value == "x"
        assert not app.touching
