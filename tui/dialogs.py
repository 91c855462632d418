"""Questions and pages that lie over the screen until they are left."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Final

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Button, Static

from controller.core.events import Event, PromptRaised
from controller.core.requests import END, GO_ON, HELD, MEASURE_FIRST
from tui import looks
from tui.deeds import DEEDS, MOVES
from tui.panes import told

Paragraph = tuple[str, str]
NOT_YET: Final = "Not yet"
CHOICES: Final = {
    "done": "Done as asked",
    END: "End the run",
    GO_ON: "Go on",
    MEASURE_FIRST: "Measure first, then go on",
}


class Question(ModalScreen[str]):
    """A question with buttons; its answer is the key of the button, empty when it is left as it is.

    Args:
        title: What it is about.
        paragraphs: What there is to know, each with a style.
        buttons: Key and label of each button; the one that changes nothing stands first and is chosen.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape", "dismiss('')", "leave"),
        ("left,up", "app.focus_previous", "previous"),
        ("right,down", "app.focus_next", "next"),
    ]

    def __init__(self, title: str, paragraphs: Sequence[Paragraph], buttons: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self._title, self._paragraphs, self._buttons = title, paragraphs, buttons

    def compose(self) -> ComposeResult:
        """Title, words, buttons."""
        with VerticalScroll(id="sheet", can_focus=False):
            yield Static(Text(self._title, looks.HEAD), classes="title")
            for words, style in self._paragraphs:
                yield Static(Text(words, style), classes="words")
            with Horizontal(id="buttons"):
                for key, label in self._buttons:
                    yield Button(label, name=key, compact=True)

    def on_button_pressed(self, pressed: Button.Pressed) -> None:
        """Leave with the button's key."""
        pressed.stop()
        self.dismiss(pressed.button.name or "")


class PromptQuestion(Question):
    """What the operator is asked by the run."""

    def __init__(self, prompt: PromptRaised, *, may_answer: bool) -> None:
        self.prompt = prompt.prompt
        offered = [(choice, CHOICES.get(choice, choice.capitalize())) for choice in prompt.choices]
        super().__init__(
            "The run is held" if prompt.topic == HELD else "The operator is needed",
            [
                (prompt.what_happened, looks.STRONG),
                (prompt.what_to_do, ""),
                (f"Then: {prompt.what_next}", looks.QUIET),
            ],
            [("", NOT_YET), *offered] if may_answer else [("", "Close")],
        )


class Page(ModalScreen[None]):
    """Something to read, which may be longer than the screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape,q,enter,question_mark,l", "dismiss", "leave"),
        ("up", "scroll(-1)", "up"),
        ("down", "scroll(1)", "down"),
        ("pageup", "scroll(-10)", "up"),
        ("pagedown,space", "scroll(10)", "down"),
    ]

    AUTO_FOCUS = ""  # the page is read from its top

    def __init__(self, title: str, text: Text, *, at_end: bool = False) -> None:
        super().__init__()
        self._title, self._text, self._at_end = title, text, at_end

    def compose(self) -> ComposeResult:
        """Title and text."""
        with VerticalScroll(id="page", can_focus=False):
            yield Static(Text(self._title, looks.HEAD), classes="title")
            yield Static(self._text, id="text")
            yield Button("Back", name="back", compact=True)

    def on_mount(self) -> None:
        """Show the end first, if that is where the news is."""
        if self._at_end:
            self.query_one("#page", VerticalScroll).scroll_end(animate=False)

    def action_scroll(self, lines: int) -> None:
        """Scroll by so many lines."""
        self.query_one("#page", VerticalScroll).scroll_relative(y=lines, animate=False)

    def on_button_pressed(self, pressed: Button.Pressed) -> None:
        """Leave."""
        pressed.stop()
        self.dismiss()


def help_page() -> Page:
    """Every key, every sign; it fits on the least screen."""
    text = Text()
    for deed in DEEDS:
        text.append(f"{deed.sign:<8}", looks.STRONG).append(f"{deed.does}\n")
    for keys, does in MOVES:
        text.append(f"{keys:<8}", looks.STRONG).append(f"{does}\n")
    text.append("plate   ", looks.HEAD)
    for sign, style, words in looks.HOLES.values():
        text.append(sign, style).append(f" {words}  ")
    text.append("\ngap     ", looks.HEAD).append("each state's share of the time, over the last minute\n")
    text.append("hole    ", looks.HEAD).append("out: the tip comes out here; full: the full diameter has passed\n")
    text.append("±       ", looks.HEAD).append("two standard uncertainties, about 95 %\n")
    text.append("This screen is no safety device: ", looks.GRAVE)
    text.append("the hard-wired stop is. Hands go near the electrode only with the supply off and a meter's word.")
    return Page("Keys and signs", text)


def log_page(events: Sequence[Event]) -> Page:
    """Everything that happened."""
    lines = [line for line in map(told, events) if line is not None]
    return Page("What happened", Text("\n").join(lines or [Text("Nothing out of the ordinary.")]), at_end=True)
