"""Before a run starts: the cautions, to be read and acknowledged with the keyboard or the mouse."""

from __future__ import annotations

from collections.abc import Sequence

from textual.app import App

from tui import looks
from tui.app import LOW_OR_HIGH
from tui.dialogs import NOT_YET, Question


class Before(App[bool]):
    """Asks once whether all of this is so; its answer is True only for a plain yes.

    Args:
        title: What is to start.
        cautions: What has to be so.
    """

    CSS_PATH = "screen.tcss"
    ENABLE_COMMAND_PALETTE = False
    VERTICAL_BREAKPOINTS = LOW_OR_HIGH

    def __init__(self, title: str, cautions: Sequence[str]) -> None:
        super().__init__()
        self.theme = "ansi-dark"  # the terminal's own colours, light or dark
        self._title, self._cautions = title, cautions

    def on_mount(self) -> None:
        """Ask."""
        last = [("Is all of this so?", looks.STRONG)]
        paragraphs = [("\n".join(f"• {caution}" for caution in self._cautions), ""), *last]
        question = Question(self._title, paragraphs, [("", NOT_YET), ("start", "All of it: start")])
        self.push_screen(question, lambda key: self.exit(key == "start"))
