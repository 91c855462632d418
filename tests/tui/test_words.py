"""What the screen says, from invented pictures."""

from __future__ import annotations

import pytest

from controller.core.events import HoleFinished
from controller.record.journal import PlacedHole
from tests.record.made_up import places
from tests.tui import pictures
from tui.cut import cut_open
from tui.deeds import DEEDS, deeds_now
from tui.map_cells import cell_state, laid_out, neighbour
from tui.minute import last_minute
from tui.rights import OWNER, REMOTE
from tui.words import count_words, hole_words, left_words, rows, water_words


def test_a_lattice_that_fits_stands_evenly_on_the_map_one_hole_to_a_cell() -> None:
    """Twenty staggered columns are forty lines; sixteen rows."""
    cells = laid_out(places(320), 40, 16)
    assert (cells.rows, cells.columns) == (16, 40)
    assert all(len(holes) == 1 for holes in cells.holes.values())
    assert cells.cell[1] == (15, 0)
    assert cells.cell[21] == (14, 1)


def test_holes_that_do_not_fit_share_cells_and_keep_their_places() -> None:
    cells = laid_out(places(5000, 100), 40, 16)
    assert cells.rows <= 16
    assert cells.columns <= 40
    assert sum(map(len, cells.holes.values())) == 5000


@pytest.mark.parametrize("count", [1, 2, 3])
def test_the_least_jobs_have_a_map_too(count: int) -> None:
    cells = laid_out([PlacedHole(number + 1, 3.0, 3.0 + number) for number in range(count)], 39, 16)
    assert len(cells.cell) == count


def test_a_cell_shows_the_gravest_of_its_holes() -> None:
    def finished(hole: int, outcome: str) -> HoleFinished:
        return HoleFinished(9.0, hole, 3.0, 3.0, outcome, "", 1.0, 8.0, 7.0, 1.0, 0.1, 0.5, 1.49, 0.01, 2, 0)

    done = {1: finished(1, "through"), 2: finished(2, "undersize"), 3: finished(3, "failed")}
    assert cell_state((1, 2, 3, 4), done, 4) == "now"
    assert cell_state((1, 2, 3, 4), done, 9) == "failed"
    assert cell_state((1, 2), done, 9) == "undersize"
    assert cell_state((1, 4), done, 9) == "mixed"
    assert cell_state((1,), done, 1) == "through"


def test_arrows_lead_to_the_next_hole_and_stop_at_the_edge() -> None:
    cells = laid_out(places(320), 40, 16)
    assert neighbour(cells, 1, 0, 1) == 2
    assert neighbour(cells, 1, 0, -1) == 1
    assert neighbour(cells, 1, -1, 0) == 21
    assert neighbour(cells, 21, 1, 0) in {1, 2}


def test_the_hole_cut_open_names_its_depths() -> None:
    drawn = cut_open(pictures.eroding().latest, 15, 16).plain
    assert [len(line) for line in drawn.splitlines()] == [15] * 16
    for word in ("face", "out", "full", "0.86"):
        assert word in drawn
    assert drawn.count("▼") == 1


def test_out_of_the_hole_the_rod_is_not_drawn_in_it() -> None:
    picture = pictures.waiting(pictures.HELD)
    lines = cut_open(picture.latest, 15, 16).plain.splitlines()
    assert "▼" in lines[0]


def test_nothing_is_cut_open_between_holes() -> None:
    assert cut_open(None, 15, 3).plain.strip() == ""


def test_the_last_minute_tells_each_state_in_a_lane_of_its_own() -> None:
    lanes = last_minute(pictures.eroding(), 80, 4).plain.splitlines()
    assert [lane.split()[0] for lane in lanes] == ["sparking", "open", "shorted", "drop-out"]
    assert all(len(lane) == 80 for lane in lanes)
    assert sum(int(lane.split()[-2]) for lane in lanes) == pytest.approx(100, abs=2)


def test_before_the_first_word_nothing_is_invented() -> None:
    picture = pictures.bare()
    assert rows(picture) == []
    assert "320 holes" in count_words(picture)
    assert "left" in left_words(picture)
    assert water_words(picture) == "not read yet"
    assert last_minute(picture, 80, 4).plain.split() == [
        *("sparking", "off", "open", "off", "shorted", "off", "drop-out", "off"),
    ]


def test_the_water_sinks_as_it_gets_dirtier() -> None:
    assert water_words(pictures.eroding()).endswith("sinking")


def test_a_hole_says_what_became_of_it() -> None:
    picture = pictures.eroding()
    assert hole_words(picture, 1)[0] == "exit 1.492 ± 0.024 mm"
    assert hole_words(picture, 41)[0] == "failed: no deeper after 6 lifts"
    assert hole_words(picture, pictures.HOLE) == ["being made now"]
    assert hole_words(picture, 300) == ["to do"]


def actions(picture: object, rights: frozenset[str] = OWNER) -> set[str]:
    return {deed.action for deed in deeds_now(picture, rights)}  # type: ignore[arg-type]


def test_what_can_be_done_follows_from_how_things_stand() -> None:
    looking = {"log", "help", "leave"}
    assert actions(pictures.eroding()) == looking | {"hold", "measure", "skip", "end"}
    assert actions(pictures.waiting(pictures.ADVANCE)) == looking | {"answer", "end"}
    assert actions(pictures.waiting(pictures.HELD)) == looking | {"answer", "go_on", "end"}
    assert actions(pictures.done()) == looking
    assert actions(pictures.eroding(), REMOTE) == looking | {"hold"}
    assert actions(pictures.waiting(pictures.HELD), REMOTE) == looking


def test_every_key_does_one_thing() -> None:
    keys = [deed.key for deed in DEEDS]
    assert len(keys) == len(set(keys))
