"""Golden lines of both motion conventions, written by hand from wires.md (forms beyond it: from memory)."""

from __future__ import annotations

import pytest

from controller.link.ack_replies import Kind, Reply, read_reply, unknown_command
from controller.link.count_check import CountCheck, Verdict
from controller.link.numbered import checksum, numbered
from controller.link.status_report import Report, read_report
from controller.link.status_settings import check_settings, read_setting
from tests.link.stand_ins import StatusStandIn, machine


@pytest.mark.parametrize(
    ("line", "report"),
    [
        ("<Idle|MPos:0.000,0.000,0.000|FS:0,0>", Report("Idle", (0.0, 0.0, 0.0))),
        (
            "<Run|MPos:1.250,-2.500,-60.003|Bf:15,128|FS:300,0|Pn:XZ|WCO:0.000,0.000,0.000>",
            Report("Run", (1.25, -2.5, -60.003)),
        ),
        ("<Hold:0|MPos:1.000,2.000,3.000>", Report("Hold", (1.0, 2.0, 3.0))),
        ("<Idle|MPos:1.000,2.000,3.000,4.000|FS:0,0>", Report("Idle", (1.0, 2.0, 3.0))),
        ("<Alarm>", Report("Alarm", None)),
        ("<Idle|WPos:1.000,2.000,3.000|FS:0,0>", Report("Idle", None)),
        ("<Idle|FS:0,0", None),
        ("<Idle|MPos:1.000,2.000>", None),
        ("<Idle|MPos:1.000,nan,3.000>", None),
        ("<Idle|MPos:1.000,2e5,3.000>", None),
        ("<|MPos:1.000,2.000,3.000>", None),
        ("Idle", None),
    ],
)
def test_reports(line: str, report: Report | None) -> None:
    assert read_report(line) == report


@pytest.mark.parametrize(
    ("line", "setting"),
    [
        ("$1=25", (1, 25.0)),
        ("$100=250.000", (100, 250.0)),
        ("$1=255 (step idle delay, msec)", (1, 255.0)),
        ("$130=-200.000", (130, -200.0)),
        ("$N0=G21", None),
        ("$1=", None),
        ("$1=1e9", None),
    ],
)
def test_settings_lines(line: str, setting: tuple[int, float] | None) -> None:
    assert read_setting(line) == setting


@pytest.mark.parametrize(
    ("line", "command"),
    [
        ('echo:Unknown command: "G38.2 Z-1"', "G38.2"),
        ('echo:Unknown command: "M121"', "M121"),
        ("echo:Unknown command: M114", "M114"),
        ('echo:Unknown command: "X1241 G1 Z-0.005625 F300*77"', ""),  # the N was spoilt
        ('echo:Unknown command: "G1 Z-0.005625 F300*5"', ""),  # the end of a line whose beginning was thrown away
        ('echo:Unknown command: "5625 F300"', ""),
        ('echo:Unknown command: ""', ""),
    ],
)
def test_which_command_a_board_does_not_know(line: str, command: str) -> None:
    """A good command must not be taken for an unknown one because a line was spoilt on the wire."""
    assert unknown_command(line) == command
    assert read_reply(line).kind is Kind.UNKNOWN


def test_good_settings_have_no_problems_and_an_empty_list_has_all() -> None:
    of = machine()
    assert check_settings(StatusStandIn(of).settings, of) == []
    assert len(check_settings({}, of)) == 14


def test_a_board_that_reports_inches_is_not_driven() -> None:
    """Its places would be taken for millimetres (setting 13 of such boards: from memory)."""
    of = machine()
    settings = dict(StatusStandIn(of).settings)
    assert check_settings(settings | {13: 0.0}, of) == []
    (problem,) = check_settings(settings | {13: 1.0}, of)
    assert (problem.name, problem.found, problem.bars) == ("unit of reports", "$13=1", True)
    assert "$13=0" in problem.remedy


def test_higher_feed_acceleration_and_travel_than_needed_are_fine() -> None:
    of = machine()
    settings = StatusStandIn(of).settings
    for number in (110, 111, 112, 120, 121, 122, 130, 131, 132):
        settings[number] *= 1.5
    assert check_settings(settings, of) == []


@pytest.mark.parametrize(
    ("line", "reply"),
    [
        ("ok", Reply(Kind.OK)),
        ("ok N12 P15 B3", Reply(Kind.OK, 12)),
        ("ok P15 B3", Reply(Kind.OK)),
        ("ok T:20.0 /0.0", Reply(Kind.OK)),
        ("okay", Reply(Kind.OTHER)),
        ("Resend: 7", Reply(Kind.RESEND, 7)),
        ("Resend:7", Reply(Kind.RESEND, 7)),
        ("rs 7", Reply(Kind.RESEND, 7)),
        ("start", Reply(Kind.START)),
        ("started", Reply(Kind.OTHER)),
        ("echo:busy: processing", Reply(Kind.BUSY)),
        ('echo:Unknown command: "M121"', Reply(Kind.UNKNOWN)),
        ("Error:Printer halted. kill() called!", Reply(Kind.FATAL)),
        ("Error:checksum mismatch, Last Line: 6", Reply(Kind.ERROR)),
        ("X:0.00 Y:0.00 Z:-1.00 E:0.00 Count X:0 Y:0 Z:-3200", Reply(Kind.COUNT, steps=(0, 0, -3200))),
        ("X:0.00 Y:0.00 Z:-1.00 E:0.00 Count X: 0 Y: 0 Z: -3200", Reply(Kind.COUNT, steps=(0, 0, -3200))),
        ("z_min: TRIGGERED", Reply(Kind.END_STOP)),
        ("x_max: open", Reply(Kind.END_STOP)),
        ("Reporting endstop status", Reply(Kind.OTHER)),
        ("//action:none", Reply(Kind.OTHER)),
    ],
)
def test_replies(line: str, reply: Reply) -> None:
    assert read_reply(line) == reply


def test_the_checksum_is_the_xor_of_everything_before_the_asterisk() -> None:
    """Worked by hand: 4E ^ 31 ^ 20 ^ 4D ^ 31 ^ 31 ^ 34 = 26 hex = 38; `N3 T0*57` from public descriptions (memory)."""
    assert numbered(1, "M114") == "N1 M114*38"
    assert numbered(3, "T0") == "N3 T0*57"
    assert checksum("N3 T0") == 57


def test_verdicts_on_counts() -> None:
    check = CountCheck()
    check.agree((0, 0, 0))
    assert check.judge((0, 0, 100), (0, 0, 100), 0.0) is Verdict.SAME
    assert check.judge((0, 0, 150), (0, 0, 200), 1.0) is Verdict.MOVING
    assert check.judge((0, 0, 190), (0, 0, 200), 1.5) is Verdict.MOVING
    assert check.judge((0, 0, 190), (0, 0, 200), 1.9) is Verdict.MISSING
    check.agree((0, 0, 190))
    assert check.judge((0, 0, 290), (0, 0, 990), 3.0) is Verdict.MOVING
    assert check.judge((0, 0, 290), (0, 0, 990), 3.4) is Verdict.WRONG
