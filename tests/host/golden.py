"""The golden captures, made anew: `make golden`, after a change that is meant to change what the core does.

Look at `git diff --stat` and at what `gapwright replay` says of the old ones before committing new ones: a capture that
differs is either a mistake found or a decision taken.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from controller.core.requests import HoldRequest
from controller.link.machine_link import Wire
from sim.boards.ack import AckBoard
from tests.host.virtual import VirtualRun

FOLDER = Path(__file__).parent / "captures"
SUFFIX = ".capture.gz"


def whole_hole(run: VirtualRun) -> None:
    """A hole from beginning to end."""
    run.to_end()


def sampler_pulled(run: VirtualRun) -> None:
    """The sampler's cable is pulled in the middle of a hole."""
    run.until_phase("erode")
    for _ in range(200):
        run.tick()
    run.tick(lost=[(Wire.SAMPLER, "pulled")])
    run.to_end()


def interrupted(run: VirtualRun) -> None:
    """Asked to end in the middle of a hole, some lines having been asked for again and some ticks missed before."""
    run.until_phase("erode")
    assert isinstance(run.wired.motion, AckBoard)
    run.wired.motion.intake.garble(5)
    for _ in range(100):
        run.tick()
    run.tick(wait_s=0.03)
    for _ in range(100):
        run.tick()
    run.tick([HoldRequest("interrupted by the user")])
    run.to_end()


# By name of the file: convention, front end, faults as `simulate` takes them, and what happens.
GOLDEN: dict[str, tuple[str, str, tuple[str, ...], Callable[[VirtualRun], None]]] = {
    "status-clamp-hole": ("status", "clamp", (), whole_hole),
    "ack-biased-interrupted": ("ack", "biased", (), interrupted),
    "status-divider-pulled": ("status", "divider", (), sampler_pulled),
    "ack-divider-reset": ("ack", "divider", ("board-reset@hole:1+4s",), whole_hole),
}


def make(name: str) -> bytes:
    """One capture, packed; the same bytes every time."""
    convention, front_end, faults, happen = GOLDEN[name]
    with TemporaryDirectory() as folder:
        run = VirtualRun(Path(folder), convention, front_end, faults)
        happen(run)
    return gzip.compress(bytes(run.capture), 9, mtime=0)


def main() -> None:
    """Make all of them."""
    FOLDER.mkdir(exist_ok=True)
    for name in GOLDEN:
        (FOLDER / f"{name}{SUFFIX}").write_bytes(make(name))


if __name__ == "__main__":
    main()
