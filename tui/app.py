"""The screen of a run: follows its bus, paints what it tells, and passes on what is asked. It decides nothing."""

from __future__ import annotations

from typing import ClassVar, Final, Protocol

from textual.app import App, ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal
from textual.screen import ModalScreen

from controller.bus.listener import Gone
from controller.bus.picture import RunPicture
from controller.core.events import Event, FaultTripped
from controller.core.requests import GO_ON, Answer, HoldRequest, MeasureRequest, PauseRequest, Request, SkipRequest
from controller.core.snapshot import Snapshot
from tui import looks
from tui.deeds import DEEDS, deeds_now
from tui.dialogs import NOT_YET, Paragraph, PromptQuestion, Question, help_page, log_page
from tui.map_cells import neighbour
from tui.panes import Cut, Figures, Foot, Happened, Head, Minute, Pane, Plate

# Painted so often (s): chosen, a quarter of a second looks alive and leaves the core of a small computer alone.
PAINT_S: Final = 0.25
# How long a word in passing stays (s): long enough to be read twice. Chosen.
NOTICE_S: Final = 6.0
# From so many lines on there is room to breathe.
LOW_OR_HIGH: Final = [(0, "-low"), (34, "-high")]
AT_SCREEN: Final = "asked for at the screen"
# How a screen was left: closed while the run goes on, after its end, or because its process has gone.
CLOSED, ENDED, GONE = "closed", "ended", "gone"


class Followed(Protocol):
    """A run that is followed: the listener of its bus."""

    picture: RunPicture

    async def next(self) -> Event | Snapshot:
        """The next that is told. Raises Gone."""

    async def ask(self, request: Request) -> str:
        """Ask something; returns why it is refused. Raises Gone."""


class RunScreen(App[str]):
    """The screen.

    Args:
        run: The run that is followed.
        rights: What may be asked of it.
    """

    CSS_PATH = "screen.tcss"
    TITLE = "gapwright"
    ENABLE_COMMAND_PALETTE = False
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (110, "-wide")]  # noqa: RUF012 (the library's own annotation)
    VERTICAL_BREAKPOINTS = LOW_OR_HIGH
    BINDINGS: ClassVar[list[BindingType]] = [
        *((deed.key, deed.action, deed.word) for deed in DEEDS),
        ("up", "choose(-1, 0)", "up"),
        ("down", "choose(1, 0)", "down"),
        ("left", "choose(0, -1)", "left"),
        ("right", "choose(0, 1)", "right"),
        ("n", "choose_now", "the hole being made"),
    ]

    def __init__(self, run: Followed, rights: frozenset[str]) -> None:
        super().__init__()
        self.theme = "ansi-dark"  # the terminal's own colours, light or dark
        self._run, self._rights = run, rights
        self._prompt_shown = 0
        self._left = ""

    def compose(self) -> ComposeResult:
        """Head, the three columns, the last minute, what happened, what can be done."""
        yield Head("head")
        with Horizontal(id="middle"):
            yield Cut("cut")
            yield Plate("plate")
            yield Figures("figures")
        yield Minute("minute")
        yield Happened("happened")
        yield Foot("foot", self._rights)

    def on_mount(self) -> None:
        """Begin to follow and to paint."""
        self.run_worker(self._follow(), exclusive=True)
        self.set_interval(PAINT_S, self.paint)
        self.call_after_refresh(self.paint)

    def paint(self) -> None:
        """Show the run as it stands now."""
        if not self.screen_stack:
            return  # the screen is being left
        picture = self._run.picture
        for pane in self.screen_stack[0].query(Pane):
            pane.show(picture)
        self._show_prompt(picture)

    # -- following -------------------------------------------------------------------------------------------------

    async def _follow(self) -> None:
        try:
            while True:
                await self._run.next()
        except Gone as gone:
            self._run.picture.gone = True
            self.paint()
            self._say_end(str(gone))

    def _say_end(self, last_words: str) -> None:
        """The process of the run has gone: say how the run ended, or that it broke off."""
        ended = self._run.picture.ended
        self._left = ENDED if ended is not None else GONE
        question = Question(*end_words(self._run.picture, last_words), [("", "Look on"), ("close", "Close the screen")])
        self.push_screen(question, lambda key: self.exit(self._left) if key else None)

    def _show_prompt(self, picture: RunPicture) -> None:
        """Open a prompt that is new; take away the question of one that was answered elsewhere."""
        open_now = self.screen
        waiting = picture.prompt
        if isinstance(open_now, PromptQuestion) and (waiting is None or waiting.prompt != open_now.prompt):
            open_now.dismiss("")
        elif waiting is not None and waiting.prompt > self._prompt_shown and not isinstance(open_now, ModalScreen):
            self._prompt_shown = waiting.prompt
            self.action_answer()

    # -- asking ----------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether something can be done now."""
        if action in {deed.action for deed in DEEDS}:
            return action in {deed.action for deed in deeds_now(self._run.picture, self._rights)}
        return super().check_action(action, parameters)

    def action_hold(self) -> None:
        """Hold: stopping is never asked about twice."""
        self._ask(PauseRequest(AT_SCREEN), "Holding at the next safe moment")

    def action_measure(self) -> None:
        """Measure the electrode."""
        self._ask(MeasureRequest(), "The electrode will be measured at the next safe moment")

    def action_skip(self) -> None:
        """Leave the hole that is being made."""
        seen = self._run.picture.latest
        if seen is None or seen.hole == 0:
            self._notice("No hole is being made now")
            return
        hole = seen.hole
        words = f"Hole {hole} stays as it is and counts as failed; the run goes on with the next one."
        self._confirm(f"Skip hole {hole}?", words, "Skip it", SkipRequest(hole))

    def action_end(self) -> None:
        """End the run."""
        words = "The electrode leaves the hole, the source is isolated, the water stops; the run is over then, as held."
        self._confirm("End the run?", words, "End the run", HoldRequest(AT_SCREEN))

    def action_go_on(self) -> None:
        """Go on after a hold."""
        prompt = self._run.picture.prompt
        if prompt is not None:
            words = "The source comes back on the electrode. Hands away, guard closed, nobody at the machine?"
            self._confirm("Go on?", words, "Go on", Answer(prompt.prompt, GO_ON))

    def action_answer(self) -> None:
        """Read the prompt that waits, and answer it."""
        prompt = self._run.picture.prompt
        if prompt is None:
            return
        number = prompt.prompt

        def answered(choice: str | None) -> None:
            if choice:
                self._ask(Answer(number, choice), "Answered")

        self.push_screen(PromptQuestion(prompt, may_answer="answer" in self._rights), answered)

    def action_leave(self) -> None:
        """Close the screen."""
        if self._left:
            self.exit(self._left)
            return
        words = f"The job goes on without it. Come back with: gapwright watch {self._run.picture.about.run}"

        def closed(key: str | None) -> None:
            if key:
                self.exit(self._left or CLOSED)

        buttons = [("", "Stay"), ("close", "Close the screen")]
        self.push_screen(Question("Close the screen?", [(words, "")], buttons), closed)

    def _confirm(self, title: str, words: str, label: str, request: Request) -> None:
        def answered(key: str | None) -> None:
            if key:
                self._ask(request, "Asked for")

        self.push_screen(Question(title, [(words, "")], [("", NOT_YET), ("yes", label)]), answered)

    def _ask(self, request: Request, words: str) -> None:
        self.run_worker(self._asked(request, words))

    async def _asked(self, request: Request, words: str) -> None:
        try:
            refused = await self._run.ask(request)
        except Gone as gone:
            refused = str(gone)
        self._notice(f"Refused: {refused}" if refused else words)

    def _notice(self, words: str) -> None:
        """Say something in passing, in the line above the keys."""
        happened = self.screen_stack[0].query_one(Happened)
        happened.notice = words
        self.set_timer(NOTICE_S, happened.forget)
        self.paint()

    # -- looking ---------------------------------------------------------------------------------------------------

    def action_help(self) -> None:
        """Every key and sign."""
        self.push_screen(help_page())

    def action_log(self) -> None:
        """Everything that happened."""
        self.push_screen(log_page(list(self._run.picture.told)))

    def action_choose(self, rows: int, columns: int) -> None:
        """Choose the next hole in a direction."""
        plate = self.query_one(Plate)
        seen = self._run.picture.latest
        begin = plate.chosen or (seen.hole if seen is not None else 0) or self._run.picture.about.holes[0].hole
        self._choose(neighbour(plate.cells(self._run.picture), begin, rows, columns))

    def action_choose_now(self) -> None:
        """Back to the hole that is being made."""
        self._choose(0)

    def on_plate_chosen(self, chosen: Plate.Chosen) -> None:
        """A hole was clicked on."""
        self._choose(chosen.hole)

    def _choose(self, hole: int) -> None:
        self.query_one(Plate).chosen = self.query_one(Figures).chosen = hole
        self.paint()


def end_words(picture: RunPicture, last_words: str) -> tuple[str, list[Paragraph]]:
    """How a run ended, as a title and paragraphs: the cause of a fault and what clears it first."""
    ended, fault = picture.ended, picture.last_of(FaultTripped)
    if ended is None:
        run = picture.about.run
        go_on = f"The record in {run} holds what was told. Look at the machine, then go on with: gapwright resume {run}"
        return "The run has broken off", [(f"{last_words[:1].upper()}{last_words[1:]}.", looks.STRONG), (go_on, "")]
    where = (f"Record and report are in {picture.about.run}", looks.QUIET)
    title = f"The run has ended: {ended.outcome}"
    if ended.outcome != "fault" or fault is None:
        return title, [(ended.reason, looks.STRONG), where]
    return title, [
        (f"{fault.cause.capitalize()}: {fault.meaning}.", looks.STRONG),
        (f"What clears it: {fault.remedy}.", ""),
        where,
    ]


async def show(run: Followed, rights: frozenset[str]) -> str:
    """Show a run until the screen is left; returns how."""
    screen = RunScreen(run, rights)
    left = await screen.run_async()
    return left or CLOSED
