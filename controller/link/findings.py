"""What connecting found out, as the first two checks of a commissioning: both boards, and their settings."""

from __future__ import annotations

from collections.abc import Sequence

from controller.core.events import Checked
from controller.link.machine_link import MachineLink
from controller.link.notices import Problem
from controller.settings.machine import Machine

# Said where a convention has no way to read a setting back (wires.md).
UNREADABLE = (
    "an `ack` board can't be asked for its motor time-out: it was told never to let its motors go, and took it. If "
    "touches scatter after pauses all the same, its firmware does so regardless"
)


def findings(link: MachineLink, machine: Machine, time_s: float) -> list[Checked]:
    """The two verdicts of a link that has done connecting."""
    barring = [problem for problem in link.problems if problem.bars]
    settings = [problem for problem in link.problems if not problem.bars]
    return [_boards(link, machine, barring, time_s), _settings(link, machine, settings, time_s)]


def _boards(link: MachineLink, machine: Machine, problems: Sequence[Problem], time_s: float) -> Checked:
    title = "Ports and boards"
    if problems:
        return _failed("boards", title, problems, time_s)
    words = f"motion board ({machine.motion.convention}) on {machine.motion.port}; sampler on {machine.sampler.port}"
    called = f", which calls itself {link.sampler.firmware}" if link.sampler.firmware else ""
    return Checked(time_s, "boards", title, "pass", f"{words}{called}")


def _settings(link: MachineLink, machine: Machine, problems: Sequence[Problem], time_s: float) -> Checked:
    title = "Firmware settings"
    if problems:
        return _failed("settings", title, problems, time_s)
    if not link.board.connected:
        return Checked(time_s, "settings", title, "not done", "the motion board could not be set up")
    if machine.motion.convention == "ack":
        return Checked(time_s, "settings", title, "pass", f"all that must hold was taken; {UNREADABLE}")
    return Checked(time_s, "settings", title, "pass", "everything read from the board agrees with the machine file")


def _failed(name: str, title: str, problems: Sequence[Problem], time_s: float) -> Checked:
    words = "; ".join(f"{problem.wire}: {problem.name}: {problem.found}" for problem in problems)
    return Checked(time_s, name, title, "fail", words, "; ".join(problem.remedy for problem in problems))
