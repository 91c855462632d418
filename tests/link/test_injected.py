"""Steps sent against steps executed, with noise on both wires and resets: equal, or known to be unknown. Always."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.commands import Move
from controller.core.observation import BoardState
from tests.link.stand_ins import Bench, Spoil, StatusStandIn


def noise(rng: Random, rate: float, *, drop: bool) -> Spoil:
    """Spoils or loses a byte now and then."""

    def spoil(carried: bytes) -> bytes:
        out = bytearray()
        for byte in carried:
            if rng.random() >= rate:
                out.append(byte)
            elif not drop:
                out.append(rng.randrange(256))
        return bytes(out)

    return spoil


def work(bench: Bench, rng: Random, moves: int) -> None:
    z_um = -1000.0
    for _ in range(moves):
        if bench.board.state is not BoardState.READY:
            return
        back = rng.random() < 0.2
        z_um = min(z_um + 60.0, -1000.0) if back else z_um - rng.choice([2.5, 5.625, 10.0, 40.0])
        bench.board.carry_out(Move(1000.0, 1000.0, z_um, 5000.0, back), bench.now_s)
        bench.run(0.02)


def agrees(bench: Bench) -> bool:
    """After the wire has become clean again: what the link believes is what the board has done."""
    bench.to_board = bench.to_host = bytes
    bench.run(1.0)  # lines that were spoilt are found out
    drained = bench.drained(5.0)
    bench.run(1.0)
    if not bench.board.ledger.known:
        return bench.board.state is not BoardState.READY and not bench.board.homed
    stand_in = bench.stand_in
    executed = stand_in.steps() if isinstance(stand_in, StatusStandIn) else bench.ack.done
    origin = bench.board._origin
    return drained and bench.board.ledger.done == tuple(a + b for a, b in zip(executed, origin, strict=True))


@settings(max_examples=8)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.002, 0.01]), st.booleans())
@pytest.mark.parametrize("convention", ["status", "ack"])
def test_noise_on_the_wires(convention: str, seed: int, rate: float, drop: bool) -> None:
    rng = Random(seed)
    bench = Bench(convention).connect().home()
    bench.to_board = noise(rng, rate, drop=drop)
    bench.to_host = noise(rng, rate, drop=drop)
    work(bench, rng, 40)
    assert agrees(bench), bench.notes()


@settings(max_examples=6)
@given(st.integers(0, 2**32 - 1), st.booleans())
@pytest.mark.parametrize("convention", ["status", "ack"])
def test_resets_in_the_middle(convention: str, seed: int, unseen: bool) -> None:
    """The banner may be lost as well."""
    rng = Random(seed)
    bench = Bench(convention).connect().home()
    work(bench, rng, 20)
    if isinstance(bench.stand_in, StatusStandIn):
        bench.stand_in.lose_power()
    else:
        bench.ack.boot()
    if unseen:
        bench.stand_in.said.clear()
    work(bench, rng, 20)
    assert agrees(bench), bench.notes()
