"""The report is one self-contained page that says what the journal says."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest

from controller.core.events import ElectrodeAdvanced, ElectrodeMeasured, Event, HoleFinished, ShortEnded
from controller.record import against_truth
from controller.record.by_hand import Reason, grouped, holes_to_check, is_surprise, standing_out
from controller.record.drawing import round_ticks
from controller.record.figures import gap_chart
from controller.record.hole_map import hole_map, spot_style
from controller.record.journal import GaugedHole, Journal, RunRecord, append_gauged, read_journal
from controller.record.report import MOST_ROWS, report_html
from controller.record.story import story
from controller.record.summary import spoken_time
from tests.record.made_up import START, MadeUpRun, places


def made_up(folder: Path, holes: int, *, stopped: bool = True) -> RunRecord:
    """The record of a made-up run."""
    MadeUpRun(holes).write(folder, stopped=stopped)
    return read_journal(folder)


class Page(HTMLParser):
    """Collects what a page asks for from elsewhere, its tags' balance and its hover texts."""

    VOID = frozenset({"meta", "br", "hr", "img", "link", "input"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.asked: list[str] = []
        self.titles: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in self.VOID:
            self.open.append(tag)
        asks = {"src", "href", "data", "srcset", "action"}
        self.asked += [held or "" for name, held in attrs if name in asks and not (held or "").startswith("#")]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "title":
            self.titles.append(data)


def test_the_page_asks_for_no_other_file(tmp_path: Path) -> None:
    """No link, script, picture or font from elsewhere, and every tag is closed."""
    text = report_html(made_up(tmp_path, 60))
    page = Page(text)
    assert page.asked == []
    assert page.open == []
    assert "@import" not in text
    assert "url(" not in text
    assert "<script" not in text


def test_every_hole_is_on_the_map_with_its_figures_in_a_hover_text(tmp_path: Path) -> None:
    """Each of 60 holes has one hover text that begins with its number."""
    titles = Page(report_html(made_up(tmp_path, 60))).titles
    for hole in range(1, 61):
        assert sum(title.startswith(f"Hole {hole} at ") for title in titles) == 1


def test_texts_of_settings_files_are_shown_as_text(tmp_path: Path) -> None:
    """Markup in a job file can't become markup of the page."""
    start = START.model_copy(update={"job_toml": '# <img src="x"> & more'})
    Journal(tmp_path, start, places(1)).close(None)
    text = report_html(read_journal(tmp_path))
    assert "&lt;img src=" in text
    assert Page(text).asked == []


@pytest.mark.parametrize("holes", [1, 2])
def test_a_run_that_never_finished_a_hole_still_has_a_report(tmp_path: Path, holes: int) -> None:
    """No figure needs a hole to be there."""
    Journal(tmp_path, START, places(holes)).close(None)
    assert f"Unfinished: 0 of {holes} holes" in report_html(read_journal(tmp_path))


def test_the_verdict_is_one_sentence(tmp_path: Path) -> None:
    """Outcome, holes, time and the operator's share."""
    record = made_up(tmp_path, 110)
    text = report_html(record)
    took = spoken_time(record.events[-1].time_s)
    assert f"Complete: 108 of 110 holes through and at full size by estimate, in {took} of machine time" in text
    assert "operator needed once, as planned." in text


def test_holes_to_check_are_named_with_their_reasons(tmp_path: Path) -> None:
    """Built in: hole 12 failed, 31 took long, 45 stayed undersize, 50 lies near the tolerance's edge."""
    check = holes_to_check(made_up(tmp_path, 60))
    words = {hole: [reason.words for reason in reasons] for hole, reasons in check.items()}
    assert words[12] == ["failed: welded"]
    assert words[45] == ["undersize: welded"]
    assert "unusual erosion time" in words[31]
    assert any("its uncertainty reaches past it" in each for each in words[50])
    assert grouped(check)[0].holes == ((12, ""),)


def test_holes_with_hard_shorts_or_a_stuck_electrode_are_to_be_checked(tmp_path: Path) -> None:
    """Three shorts past the first rung are many, two are not; one short on the fourth rung is a stuck electrode."""
    run = MadeUpRun(10)
    rungs = {2: (2, 2, 3), 3: (2, 2, 1, 1), 4: (4,)}
    hard: list[Event] = [ShortEnded(1.0, hole, rung, 2.0, "debris") for hole, each in rungs.items() for rung in each]
    run.events = [event for event in run.events if not isinstance(event, ShortEnded)] + hard
    run.write(tmp_path)
    words = {hole: reasons[0].words for hole, reasons in holes_to_check(read_journal(tmp_path)).items()}
    assert words[2].startswith("many shorts that outlasted a small retreat")
    assert 3 not in words
    assert words[4].startswith("the electrode was stuck here")


def test_a_gauged_hole_need_not_be_checked_again(tmp_path: Path) -> None:
    """Hole 12 leaves the list once it was gauged."""
    MadeUpRun(20).write(tmp_path)
    append_gauged(tmp_path, [GaugedHole(12, 1.49, 0.01, 1.2, "2026-01-03T00:00:00Z")])
    assert 12 not in holes_to_check(read_journal(tmp_path))


def test_holes_before_a_far_too_short_electrode_are_to_be_checked(tmp_path: Path) -> None:
    """A measurement 0.3 mm below its prediction puts the holes since the last one on the list, no others."""
    run = MadeUpRun(24)
    short = [
        ElectrodeMeasured(each.time_s, each.tip_length_mm - 0.3, 0.004, each.predicted_mm, 0.03, 90.0, each.hole, 30.0)
        if isinstance(each, ElectrodeMeasured) and each.hole == 16
        else each
        for each in run.events
    ]
    run.events = short
    run.write(tmp_path)
    check = holes_to_check(read_journal(tmp_path))
    named = {hole for hole, reasons in check.items() if any("far shorter" in reason.words for reason in reasons)}
    assert named == set(range(9, 17))


def test_a_measurement_within_its_uncertainty_is_no_surprise() -> None:
    """Three combined standard uncertainties are the border: 3 × hypot(3, 4) = 15 µm."""
    inside = ElectrodeMeasured(0.0, 30.0149, 0.003, 30.0, 0.004, 90.0, 1, 30.0)
    outside = ElectrodeMeasured(0.0, 30.0151, 0.003, 30.0, 0.004, 90.0, 1, 30.0)
    assert (is_surprise(inside), is_surprise(outside)) == (False, True)


@pytest.mark.parametrize(
    ("exit_mm", "style"),
    [(1.449, "under"), (1.451, "small"), (1.49, "middle"), (1.51, "middle"), (1.53, "large"), (1.551, "over")],
)
def test_marks_follow_the_tolerance(exit_mm: float, style: str) -> None:
    """1.5 ± 0.05 mm: thirds of the tolerance and what lies outside."""
    hole = HoleFinished(0, 1, 0, 0, "through", "", 0, 1, 1, 2.6, 0.2, 1.4, exit_mm, 0.01, 0, 0)
    assert spot_style(hole, START) == style


def test_holes_not_drilled_stay_on_the_map(tmp_path: Path) -> None:
    """A run that broke off shows what is left to do, and the legend counts add up to the plan."""
    run = MadeUpRun(30)
    cut = next(rank for rank, each in enumerate(run.events) if isinstance(each, HoleFinished) and each.hole == 10)
    run.events = run.events[: cut + 1]
    run.write(tmp_path, stopped=False)
    drawn = hole_map(read_journal(tmp_path), frozenset())
    assert {style: count for style, _, count in drawn.legend} == {"middle": 10, "not-drilled": 20}


def test_gap_shares_are_weighted_by_time_and_add_up(tmp_path: Path) -> None:
    """Every made-up report says 30 % open, 60 % sparking, 2 % shorted, 8 % off; so does each bar."""
    bars = [mark.title for mark in gap_chart(made_up(tmp_path, 20)).marks]
    assert len(bars) == 20 * 4
    assert all(title.endswith("open 30%, sparking 60%, shorted 2%, source off 8%") for title in bars)


def test_a_thousand_holes_share_their_bars(tmp_path: Path) -> None:
    """The gap-state chart keeps a bounded number of bars, whatever the size of the job."""
    assert len(gap_chart(made_up(tmp_path, 1000)).marks) <= 80 * 4


def test_estimates_are_held_against_the_truth(tmp_path: Path) -> None:
    """Coverage is the share of holes whose truth lies within two standard uncertainties, counted here once more."""
    record = made_up(tmp_path, 60)
    truths = {truth.hole: truth.exit_diameter_mm for truth in record.true_holes}
    through = [hole for hole in record.finished().values() if hole.outcome == "through"]
    inside = sum(abs(hole.exit_diameter_mm - truths[hole.hole]) <= 2 * hole.exit_diameter_u_mm for hole in through)
    found = against_truth.agreement("exit", against_truth.exit_estimates(record))
    assert found is not None
    assert found.count == len(through)
    assert found.inside_share == pytest.approx(inside / len(through))


def test_a_hole_called_through_but_blind_is_named(tmp_path: Path) -> None:
    """The report never hides the one mistake that must not happen."""
    run = MadeUpRun(5)
    run.truths[2] = type(run.truths[2])(3, 1.5, 0.0, 1.51, through=False)
    run.write(tmp_path)
    record = read_journal(tmp_path)
    assert against_truth.called_done_but_blind(record) == [3]
    assert "Called through but blind: 3." in report_html(record)


@pytest.mark.parametrize(
    ("low", "high", "labels"),
    [
        (0.0, 1.0, ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]),
        (-7.0, 52.0, ["0", "10", "20", "30", "40", "50"]),
        (1.44, 1.56, ["1.44", "1.46", "1.48", "1.50", "1.52", "1.54", "1.56"]),
        (-0.3, 0.3, ["−0.3", "−0.2", "−0.1", "0.0", "0.1", "0.2", "0.3"]),
    ],
)
def test_ticks_are_round(low: float, high: float, labels: list[str]) -> None:
    """Multiples of 1, 2 or 5 with no more digits than they need."""
    assert [label for _, label in round_ticks(low, high)] == labels


def test_shorts_that_follow_each_other_are_told_in_one_line() -> None:
    """What else happened is not buried; every short is still there."""
    shorts = [ShortEnded(10.0 * hole, hole, 3, 1.0 + hole, "debris") for hole in range(1, 6)]
    advanced = ElectrodeAdvanced(70.0, 45.0, 90.0, 1)
    told = story([*shorts, advanced, ShortEnded(80.0, 9, 4, 7.0, "weld")])
    assert [each.words.split(" ")[0] for each in told] == ["5", "Electrode", "Short"]
    assert "at 5 holes, from 1 to 5; the longest 6.0 s" in told[0].words
    assert len(told[0].together) == 5


def test_a_figure_that_many_holes_share_is_said_once() -> None:
    (same,) = grouped({hole: [Reason(2, "unsure", "1.480 ± 0.110 mm")] for hole in range(1, 4)})
    (different,) = grouped({hole: [Reason(5, "slow", f"{hole} s")] for hole in range(1, 4)})
    assert (same.shared, different.shared) == ("1.480 ± 0.110 mm", "")


def test_the_table_of_holes_gives_way_to_the_file_when_it_would_be_too_long(tmp_path: Path) -> None:
    few, many = tmp_path / "few", tmp_path / "many"
    few.mkdir()
    many.mkdir()
    assert "Figures of every hole" in report_html(made_up(few, 20))
    assert "Figures of every hole" not in report_html(made_up(many, MOST_ROWS + 200))


def test_five_thousand_holes_make_a_page_that_a_telephone_can_hold(tmp_path: Path) -> None:
    assert len(report_html(made_up(tmp_path, 5000)).encode()) < 3_000_000


def test_the_map_marks_what_stands_out_and_not_what_holds_for_every_hole() -> None:
    unsure = {hole: [Reason(2, "unsure")] for hole in range(1, 6)}
    unsure[3].append(Reason(5, "slow", "90 s"))
    assert standing_out(grouped(unsure), drilled=5) == {3}
    assert standing_out(grouped(unsure), drilled=6) == {1, 2, 3, 4, 5}
