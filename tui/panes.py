"""The parts of the screen: each paints one thing of the picture and decides nothing."""

from __future__ import annotations

from collections import Counter
from typing import Final

from rich.text import Text
from textual.events import Click, Resize
from textual.geometry import Size
from textual.message import Message
from textual.widget import Widget

from controller.bus.picture import RunPicture
from controller.core.events import Event
from controller.record.happenings import happenings
from controller.record.summary import clock_time
from tui import looks, words
from tui.cut import cut_open
from tui.deeds import deeds_now
from tui.map_cells import Cells, cell_state, hole_state, laid_out
from tui.minute import last_minute


class Pane(Widget):
    """A part of the screen that shows a text made from the picture."""

    def __init__(self, name: str) -> None:
        super().__init__(id=name)
        self.picture: RunPicture | None = None
        self._text = Text()

    def show(self, picture: RunPicture) -> None:
        """Paint the picture as it stands now; nothing is sent to the terminal when nothing has changed."""
        self.picture = picture
        text = self.paint(picture, Size(max(self.size.width, 1), max(self.size.height, 1)))
        if text != self._text:
            self._text = text
            self.refresh()

    def paint(self, picture: RunPicture, size: Size) -> Text:
        """The text to show."""
        raise NotImplementedError

    def render(self) -> Text:
        """What was painted last."""
        return self._text

    def on_resize(self, _: Resize) -> None:
        """Paint again in the new size."""
        if self.picture is not None:
            self.show(self.picture)


class Head(Pane):
    """Phase, what is done now, how far, how long still."""

    def paint(self, picture: RunPicture, size: Size) -> Text:
        """Two lines: the phase with its words, then the job."""
        phase = f" {words.phase_words(picture)} "
        style = looks.GRAVE if picture.latest is not None and picture.latest.phase == "fault" else looks.STRONG
        first = Text.assemble((phase, f"{looks.MARKED} {style}"), " ", words.doing_words(picture))
        second = Text.assemble((words.count_words(picture), looks.STRONG), f" · {words.left_words(picture)}")
        room = size.width - second.cell_len - 1
        title = words.title_words(picture)
        if len(title) < room:
            second.append(" " * (room - len(title) + 1))
            second.append(title, looks.QUIET)
        first.truncate(size.width, overflow="ellipsis")
        second.truncate(size.width, overflow="ellipsis")
        return Text("\n").join([first, second][: size.height])


class Cut(Pane):
    """The hole cut open."""

    def paint(self, picture: RunPicture, size: Size) -> Text:
        """Rod, plate and depths."""
        return cut_open(picture.latest, size.width, size.height)


class Plate(Pane):
    """All holes of the plate."""

    class Chosen(Message):
        """Somebody chose a hole with the mouse."""

        def __init__(self, hole: int) -> None:
            super().__init__()
            self.hole = hole

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.chosen = 0
        self._cells: Cells | None = None
        self._laid_for = (0, 0)

    def cells(self, picture: RunPicture) -> Cells:
        """Where the holes stand in the present size."""
        size = max(self.size.width, 2), max(self.size.height, 2)
        if self._cells is None or self._laid_for != size:
            self._laid_for = size
            self._cells = laid_out(picture.about.holes, *size)
        return self._cells

    def paint(self, picture: RunPicture, size: Size) -> Text:
        """Every hole by its sign, the chosen one marked."""
        cells = self.cells(picture)
        now = picture.latest.hole if picture.latest is not None and picture.ended is None else 0
        marked = cells.cell.get(self.chosen)
        lines = []
        for row in range(min(cells.rows, size.height)):
            line = Text()
            for column in range(min(cells.columns, size.width)):
                holes = cells.holes.get((row, column))
                if holes is None:
                    line.append(" ")
                    continue
                sign, style, _ = looks.HOLES[cell_state(holes, picture.finished, now)]
                line.append(sign, f"{style} {looks.MARKED}" if (row, column) == marked else style)
            lines.append(line)
        if cells.rows + 2 <= size.height:
            lines += [Text(), self._legend(picture, now)]
        return Text("\n").join(lines)

    @staticmethod
    def _legend(picture: RunPicture, now: int) -> Text:
        """What the signs say, and how many there are."""
        states = Counter(hole_state(place.hole, picture.finished, now) for place in picture.about.holes)
        line = Text()
        for state, (sign, style, _) in looks.HOLES.items():
            if states[state] and state != "now":
                line.append(sign, style).append(f" {state} {states[state]}   ", looks.QUIET)
        return line

    def on_click(self, click: Click) -> None:
        """Choose the hole under the mouse."""
        if self._cells is not None:
            holes = self._cells.holes.get((click.y, click.x))
            if holes:
                self.post_message(self.Chosen(holes[0]))


class Figures(Pane):
    """The figures of the moment, and those of the chosen hole."""

    NAME_WIDTH: Final = 9

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.chosen = 0

    def paint(self, picture: RunPicture, size: Size) -> Text:
        """Name and figure in each line; below, the chosen hole."""
        lines = [
            Text.assemble((f"{name:<{self.NAME_WIDTH}}", looks.QUIET), figure) for name, figure in words.rows(picture)
        ]
        hole = self.chosen or (picture.latest.hole if picture.latest is not None else 0)
        if hole:
            lines += [Text(f"hole {hole}", looks.HEAD), *map(Text, words.hole_words(picture, hole))]
        for line in lines:
            line.truncate(size.width, overflow="ellipsis")
        return Text("\n").join(lines[: size.height])


class Minute(Pane):
    """The gap over the last minute."""

    def paint(self, picture: RunPicture, size: Size) -> Text:
        """A lane for each state of the gap."""
        return last_minute(picture, size.width, size.height)


class Happened(Pane):
    """The last things that happened, and a word in passing."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.notice = ""

    def forget(self) -> None:
        """The word in passing has been read."""
        self.notice = ""

    def paint(self, picture: RunPicture, size: Size) -> Text:
        """One line each, the latest at the foot."""
        lines = [line for line in map(told, picture.told) if line is not None]
        if self.notice:
            lines.append(Text(f"→ {self.notice}", looks.WAITS))
        lines = lines[-size.height :]
        for line in lines:
            line.truncate(size.width, overflow="ellipsis")
        return Text("\n").join(lines or [Text("nothing out of the ordinary so far", looks.QUIET)])


def told(event: Event) -> Text | None:
    """An event in words, with its time; None for what is everyday."""
    for happening in happenings([event]):
        mark, style = ("! ", looks.GRAVE) if happening.grave else ("", "")
        return Text.assemble(
            (f"{clock_time(happening.time_s)}  ", looks.QUIET), (mark, looks.GRAVE), (happening.words, style)
        )
    return None


class Foot(Pane):
    """What can be done now: keys, and places to click."""

    def __init__(self, name: str, rights: frozenset[str]) -> None:
        super().__init__(name)
        self._rights = rights

    def paint(self, picture: RunPicture, size: Size) -> Text:
        """Each deed with its key; a click on it does it."""
        line = Text()
        for deed in deeds_now(picture, self._rights):
            start = len(line)
            line.append(f" {deed.sign}", looks.HEAD)
            line.append(f" {deed.word} ")
            line.apply_meta({"@click": f"app.{deed.action}()"}, start, len(line))
        line.truncate(size.width)
        return line
