"""The screen steered with the keyboard alone and with the mouse alone, on runs that stand still."""

from __future__ import annotations

from typing import Any

import pytest
from textual.pilot import Pilot

from controller.core.requests import Answer, HoldRequest, MeasureRequest, PauseRequest, SkipRequest
from tests.tui import pictures
from tests.tui.pictures import Still
from tui.app import CLOSED, ENDED, GONE, RunScreen
from tui.before import Before
from tui.dialogs import Page, PromptQuestion, Question
from tui.panes import Figures, Foot, Plate
from tui.rights import OWNER, REMOTE

LEAST, ROOMY = (80, 24), (120, 40)


async def click_word(pilot: Pilot[str], word: str) -> None:
    """Click on a word of the line at the foot."""
    screen = pilot.app
    line = screen.screen_stack[0].query_one(Foot).render().plain
    assert word in line, line
    await pilot.click(Foot, offset=(line.index(word), 0))
    await pilot.pause()


async def click_button(pilot: Pilot[Any], label: str) -> None:
    """Click on a button of the question."""
    button = next(each for each in pilot.app.screen.query("Button") if str(each.label) == label)  # type: ignore[attr-defined]
    # Until everything has its place, a click lands beside it.
    await pilot.wait_for_scheduled_animations()
    await pilot.pause()
    await pilot.click(button)
    await pilot.pause()


@pytest.mark.parametrize("size", [LEAST, ROOMY])
async def test_with_keys_alone(size: tuple[int, int]) -> None:
    """Hold, go on, answer, skip, measure, end; and every question can be left as it is."""
    run = Still(pictures.eroding())
    async with RunScreen(run, OWNER).run_test(size=size) as pilot:
        await pilot.press("h", "m")
        await pilot.pause()
        assert run.asked == [PauseRequest("asked for at the screen"), MeasureRequest()]
        await pilot.press("s", "enter")
        await pilot.pause()
        assert len(run.asked) == 2, "the button that changes nothing is chosen first"
        await pilot.press("s", "tab", "enter")
        await pilot.pause()
        assert run.asked[2:] == [SkipRequest(pictures.HOLE)]
        await pilot.press("x", "escape", "x", "right", "enter")
        await pilot.pause()
        assert run.asked[3:] == [HoldRequest("asked for at the screen")]
        run.picture.hear(pictures.HELD)
        pilot.app.paint()  # type: ignore[attr-defined]
        await pilot.pause()
        assert isinstance(pilot.app.screen, PromptQuestion), "a prompt opens by itself"
        await pilot.press("escape")
        await pilot.press("g", "tab", "enter")
        await pilot.pause()
        assert run.asked[4:] == [Answer(1, "go on")]
        await pilot.press("a", "tab", "tab", "enter")
        await pilot.pause()
        assert run.asked[5:] == [Answer(1, "measure first")]


@pytest.mark.parametrize("size", [LEAST, ROOMY])
async def test_with_the_mouse_alone(size: tuple[int, int]) -> None:
    run = Still(pictures.eroding())
    async with RunScreen(run, OWNER).run_test(size=size) as pilot:
        await pilot.pause()
        await click_word(pilot, "hold")
        assert run.asked == [PauseRequest("asked for at the screen")]
        await click_word(pilot, "skip")
        await click_button(pilot, "Not yet")
        assert len(run.asked) == 1
        await click_word(pilot, "end")
        await click_button(pilot, "End the run")
        assert run.asked[1:] == [HoldRequest("asked for at the screen")]
        run.picture.hear(pictures.ADVANCE)
        pilot.app.paint()  # type: ignore[attr-defined]
        await pilot.pause()
        await click_button(pilot, "Done as asked")
        assert run.asked[2:] == [Answer(1, "done")]
        await click_word(pilot, "help")
        assert isinstance(pilot.app.screen, Page)
        await click_button(pilot, "Back")
        plate = pilot.app.query_one(Plate)
        row, column = plate.cells(run.picture).cell[41]
        await pilot.click(Plate, offset=(column, row))
        await pilot.pause()
        assert "hole 41" in pilot.app.query_one(Figures).render().plain
        await click_word(pilot, "close")
        await click_button(pilot, "Close the screen")
    assert pilot.app.return_value == CLOSED


async def test_arrows_choose_a_hole_and_n_comes_back() -> None:
    run = Still(pictures.eroding())
    async with RunScreen(run, OWNER).run_test(size=LEAST) as pilot:
        await pilot.press("left")
        await pilot.pause()
        assert "hole 56" in pilot.app.query_one(Figures).render().plain
        await pilot.press("n")
        await pilot.pause()
        assert "being made now" in pilot.app.query_one(Figures).render().plain


async def test_a_prompt_answered_elsewhere_takes_its_question_away() -> None:
    run = Still(pictures.waiting(pictures.ADVANCE))
    async with RunScreen(run, OWNER).run_test(size=LEAST) as pilot:
        await pilot.pause()
        assert isinstance(pilot.app.screen, PromptQuestion)
        run.picture.prompt = None
        pilot.app.paint()  # type: ignore[attr-defined]
        await pilot.pause()
        assert not isinstance(pilot.app.screen, Question)


@pytest.mark.parametrize("key", ["g", "x", "s", "m", "a"])
async def test_from_another_computer_a_run_can_be_held_and_nothing_else(key: str) -> None:
    run = Still(pictures.eroding())
    async with RunScreen(run, REMOTE).run_test(size=LEAST) as pilot:
        await pilot.press(key, "tab", "enter")
        await pilot.pause()
        assert run.asked == []
        await pilot.press("h")
        await pilot.pause()
        assert run.asked == [PauseRequest("asked for at the screen")]


async def test_from_another_computer_a_prompt_is_read_and_not_answered() -> None:
    run = Still(pictures.waiting(pictures.ADVANCE))
    async with RunScreen(run, REMOTE).run_test(size=LEAST) as pilot:
        await pilot.pause()
        assert [str(each.label) for each in pilot.app.screen.query("Button")] == ["Close"]  # type: ignore[attr-defined]


async def test_what_is_refused_is_said() -> None:
    run = Still(pictures.eroding())
    run.refusal = "the run is over: held"
    async with RunScreen(run, OWNER).run_test(size=LEAST) as pilot:
        await pilot.press("h")
        await pilot.pause()
        await pilot.pause()
        assert "Refused: the run is over: held" in pilot.app.query_one("#happened").render().plain  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("still", "left"), [(Still(pictures.broken(), "fault"), ENDED), (Still(pictures.eroding(), "no answer"), GONE)]
)
async def test_the_end_is_said_and_the_screen_left_with_it(still: Still, left: str) -> None:
    async with RunScreen(still, OWNER).run_test(size=LEAST) as pilot:
        await pilot.pause()
        assert isinstance(pilot.app.screen, Question)
        await pilot.press("tab", "enter")
    assert pilot.app.return_value == left


CAUTIONS = [
    f"Caution {number}: something has to be so before anything is switched on, in a line." for number in range(9)
]


@pytest.mark.parametrize(("keys", "started"), [(("enter",), False), (("escape",), False), (("tab", "enter"), True)])
async def test_a_run_starts_with_keys_after_the_cautions(keys: tuple[str, ...], started: bool) -> None:
    async with Before("Before diffuser starts", CAUTIONS).run_test(size=LEAST) as pilot:
        await pilot.pause()
        await pilot.press(*keys)
    assert pilot.app.return_value is started


@pytest.mark.parametrize(("label", "started"), [("Not yet", False), ("All of it: start", True)])
async def test_a_run_starts_with_the_mouse_after_the_cautions(label: str, started: bool) -> None:
    async with Before("Before diffuser starts", CAUTIONS).run_test(size=LEAST) as pilot:
        await pilot.pause()
        await click_button(pilot, label)
    assert pilot.app.return_value is started
