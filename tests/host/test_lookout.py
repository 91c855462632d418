"""A contact between two ticks: told once, by three readings of metal, or by a low that is longer than any pause."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from controller.core.phases import Phase
from controller.host.lookout import Lookout
from controller.settings.machine import Sampler

METAL, NO_METAL = b"\xe0\x14\x00", b"\xe0\x66\x04"  # 20 and 614 counts on channel 0


@pytest.fixture
def lookout() -> Lookout:
    return Lookout(Sampler(front_end="biased"))


def test_the_third_reading_of_metal_in_a_row_is_told_and_no_other(lookout: Lookout) -> None:
    assert [lookout.sees(METAL) for _ in range(6)] == [False, False, True, False, False, False]
    assert not lookout.sees(NO_METAL + METAL)
    assert not lookout.sees(METAL)
    assert lookout.sees(METAL)


def test_portions_do_not_matter_and_other_channels_do_not_count(lookout: Lookout) -> None:
    wire = NO_METAL + METAL * 2 + b"\xe1\x66\x04" + METAL
    assert [lookout.sees(bytes([byte])) for byte in wire] == [False] * (len(wire) - 1) + [True]


def session(**changed: Any) -> Any:
    return SimpleNamespace(**{"driving": True, "core": SimpleNamespace(phase=Phase.ERODE), **changed})


@pytest.mark.parametrize("front_end", ["clamp", "divider"])
def test_front_ends_that_cannot_tell_metal_are_looked_at_once_a_low_is_longer_than_a_pause(front_end: str) -> None:
    """A pause is 13 ms at the most (electrics.md): the fourteenth low reading in a row is told and no other."""
    lookout = Lookout(Sampler.model_validate({"front_end": front_end}))
    assert lookout.watches(session())
    assert [lookout.sees(METAL) for _ in range(20)] == [number == 13 for number in range(20)]
    assert not any(lookout.sees(METAL * 13 + NO_METAL) for _ in range(3))


def test_only_where_the_source_is_on_and_the_tip_at_the_work(lookout: Lookout) -> None:
    assert lookout.watches(session())
    assert not lookout.watches(session(driving=False))
    watched = [phase for phase in Phase if lookout.watches(session(core=SimpleNamespace(phase=phase)))]
    assert watched == [Phase.APPROACH, Phase.ERODE]
