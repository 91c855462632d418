"""The screen on which a plate is found by touching: say what and roughly where, see it touched, read what was found.

It is a front of `gapwright locate`: each touch is that command in a process of its own, which ends in order when it is
asked to, whatever becomes of the screen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar, Final

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Input, Select, Static

from tui import looks
from tui.app import LOW_OR_HIGH
from tui.child import Child
from tui.things import PLACES_THE_JOB, THINGS, Field, FieldError, arguments, thing_of

# The whole command that finds a thing, by what follows `gapwright locate`.
Command = Callable[[Sequence[str]], Sequence[str]]

# Lines of what was said that are kept. Chosen: some twenty things found.
LINES_MOST: Final = 400
ANEW: Final = {False: "[ ] clamped anew", True: "[x] clamped anew: forget what was found"}
IDLE: Final = "Tab goes on, Enter presses; Esc closes."
BUSY: Final = "Touching; Esc stops it: the tip rises first."
STOPPING: Final = "Stopping: the tip rises first."


class Finding(App[None]):
    """The screen.

    Args:
        title: Which job on which machine.
        command: The command for what follows `gapwright locate`.
    """

    CSS_PATH = "screen.tcss"
    TITLE = "gapwright"
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = ""
    VERTICAL_BREAKPOINTS = LOW_OR_HIGH
    BINDINGS: ClassVar[list[BindingType]] = [("escape", "leave", "stop or close")]

    def __init__(self, title: str, command: Command) -> None:
        super().__init__()
        self.theme = "ansi-dark"  # the terminal's own colours, light or dark
        self._title, self._command = title, command
        self._child: Child | None = None
        self._anew = False
        self._lines: list[tuple[str, str]] = []

    @property
    def touching(self) -> bool:
        """Something is being touched."""
        return self._child is not None

    # -- what it shows ---------------------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        """What to find, where roughly, and what came of it."""
        yield Static(Text.assemble(("Find by touching  ", looks.HEAD), (self._title, looks.QUIET)), id="about")
        with Horizontal(id="what"):
            yield Static("Find", classes="label")
            yield Select(
                [(thing.label, thing.key) for thing in THINGS], value=THINGS[0].key, allow_blank=False, compact=True
            )
            yield Static("", id="gives")
        with Vertical(id="fields"):
            for field in _every_field():
                yield _Row(field)
        with Horizontal(id="deeds"):
            yield Button("Touch it", name="touch", compact=True)
            yield Button("Stop", name="stop", compact=True, disabled=True)
            yield Button("Close", name="close", compact=True)
            yield Button(ANEW[False], name="anew", id="anew", compact=True)
        with VerticalScroll(id="said", can_focus=True):
            yield Static("", id="lines")
        yield Static(IDLE, id="now")

    def on_mount(self) -> None:
        """Show what the first thing needs."""
        self._show_fields()
        self.query_one(Select).focus()

    def on_select_changed(self, _changed: Select.Changed) -> None:
        """Another thing: other fields."""
        self._show_fields()

    def _key(self) -> str:
        return str(self.query_one(Select).value)

    def _show_fields(self) -> None:
        thing = thing_of(self._key())
        self.query_one("#gives", Static).update(Text(f"gives {thing.gives}", looks.QUIET))
        for row in self.query(_Row):
            row.display = row.field in thing.fields
        self.query_one("#anew", Button).display = thing.key in PLACES_THE_JOB

    def _say(self, words: str, style: str = "") -> None:
        self._lines = [*self._lines, (words, style)][-LINES_MOST:]
        text = Text("\n").join(Text(line, style) for line, style in self._lines)
        self.query_one("#lines", Static).update(text)
        self.query_one("#said", VerticalScroll).scroll_end(animate=False)

    def _now(self, words: str) -> None:
        self.query_one("#now", Static).update(Text(words, looks.QUIET))

    # -- what it does ----------------------------------------------------------------------------------------------

    def on_button_pressed(self, pressed: Button.Pressed) -> None:
        """Do what the button says."""
        pressed.stop()
        match pressed.button.name:
            case "touch":
                self._touch()
            case "stop":
                self._stop()
            case "anew":
                self._anew = not self._anew
                pressed.button.label = ANEW[self._anew]
            case _:
                self.action_leave()

    def action_leave(self) -> None:
        """Stop what is being touched; with nothing being touched, close."""
        if self.touching:
            self._stop()
        else:
            self.exit()

    def _touch(self) -> None:
        thing = thing_of(self._key())
        said = {key: self._input(row, key).value for row in self.query(_Row) for key in row.keys if row.display}
        try:
            words = arguments(thing, said, anew=self._anew)
        except FieldError as error:
            self._say(str(error), looks.GRAVE)
            self.query_one(f"#{error.field}-{self._row_of(error.field)}", Input).focus()
            return
        self.run_worker(self._find(words), exclusive=True)

    def _row_of(self, key: str) -> int:
        return next(row.number for row in self.query(_Row) if row.display and key in row.keys)

    @staticmethod
    def _input(row: _Row, key: str) -> Input:
        return row.query_one(f"#{key}-{row.number}", Input)

    async def _find(self, words: Sequence[str]) -> None:
        self._say(f"gapwright locate {' '.join(words)}", looks.HEAD)
        self._child = child = Child(self._command(words))
        self._busy(BUSY)
        async for line in child.lines():
            self._say(line)
        self._child = None
        self._busy(IDLE)
        if child.code:
            self._say("Nothing was kept." if child.code > 0 else "It broke off: look at the machine.", looks.GRAVE)

    def _stop(self) -> None:
        if self._child is not None:
            self._child.stop()
            self._now(STOPPING)

    def _busy(self, words: str) -> None:
        for button in self.query(Button):
            button.disabled = self.touching == (button.name != "stop")
        self._now(words)

    async def action_quit(self) -> None:
        """As Escape: nothing is left in the middle of a touch."""
        self.action_leave()


class _Figure(Input):
    """Enter goes on to the next, and starts nothing."""

    BINDINGS: ClassVar[list[BindingType]] = [("enter", "app.focus_next", "next")]


class _Row(Horizontal):
    """A label and its figures."""

    def __init__(self, field: Field) -> None:
        super().__init__()
        self.field = field
        self.number = _every_field().index(field)
        self.keys = field.keys

    def compose(self) -> ComposeResult:
        yield Static(self.field.label, classes="label")
        for key in self.keys:
            yield _Figure(id=f"{key}-{self.number}", compact=True, placeholder=self.field.empty)


def _every_field() -> list[Field]:
    """Every field once, in order."""
    return list(dict.fromkeys(field for thing in THINGS for field in thing.fields))
