"""Words typed to the virtual machine's person."""

from __future__ import annotations

import pytest

from sim.person import DEEDS, obey
from tests.sim.test_wired import Host


def test_the_rod_is_pushed_out_when_the_source_is_proven_away() -> None:
    host = Host()
    assert obey(host.wired.plant, "Advance 30\n") == "done: advance 30"
    assert host.truth.tip_length_mm == pytest.approx(30.0)


def test_hands_are_refused_while_the_source_is_on() -> None:
    host = Host()
    host.open_water_and_source()
    assert obey(host.wired.plant, "free").startswith("refused: the source contact is not proven open")


def test_the_stop_takes_source_water_and_motors_away() -> None:
    host = Host()
    host.ask("$X")
    host.ask("G91")
    host.open_water_and_source()
    obey(host.wired.plant, "stop")
    host.let(0.5)
    assert not host.truth.live
    at_mm = host.truth.face_mm
    host.ask("G1Z-2F600")
    host.let(1.0)
    assert host.truth.face_mm == at_mm
    assert host.inputs & 4  # the copy of the stop reads open
    obey(host.wired.plant, "release")
    host.let(0.1)
    assert not host.inputs & 4


@pytest.mark.parametrize(("word", "bit"), [("open guard", 8), ("drain tank", 16)])
def test_guard_and_tank_are_seen_at_the_pins(word: str, bit: int) -> None:
    host = Host()
    assert not host.inputs & bit
    obey(host.wired.plant, word)
    host.let(0.1)
    assert host.inputs & bit


@pytest.mark.parametrize("line", ["dance", "", "advance", "advance far", "advance -3"])
def test_other_words_are_told_what_there_is(line: str) -> None:
    host = Host()
    told = obey(host.wired.plant, line)
    assert all(word in told for word in DEEDS)
