"""`gapwright simulate`: the virtual machine on real ports, in real time, until it is interrupted."""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from controller.plan.build import build_plan
from controller.record.files import write_whole
from controller.record.holes import truth_table
from controller.screen import BadUsage, err, interruption, out
from controller.settings.find import resolve
from controller.settings.load import load_job, load_machine
from controller.settings.machine import Machine
from sim.injector import FORMS, BadFaultError, Planned, planned
from sim.person import WORDS, obey
from sim.ports import HAS_PTY, Pace, Port, SocketPort, TerminalPort, Typed, serve
from sim.settings import load_plant
from sim.wired import WiredMachine

# First line of a machine file written here: one that begins so may be written over.
WRITTEN_HERE = "# Written by `gapwright simulate`: ports of a virtual machine. It will be written over.\n"
SECTION = re.compile(r"\s*\[\s*([A-Za-z_]+)\s*\]")
PORT_KEY = re.compile(r"\s*port\s*=")


class Ports(StrEnum):
    """Kinds of port."""

    PTY = "pty"
    TCP = "tcp"


def simulate(
    machine: Annotated[str, typer.Option("--machine", help="Machine file: a path or a name.")],
    write_machine: Annotated[
        Path, typer.Option("--write-machine", metavar="FILE", help="Where the machine file with the ports is written.")
    ],
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of the plant's noise.")] = 1,
    plant: Annotated[str | None, typer.Option("--plant", help="Plant file laid over the default plant.")] = None,
    fault: Annotated[
        list[str] | None, typer.Option("--fault", metavar="SPEC", help=f"What goes wrong: {FORMS}.")
    ] = None,
    truth: Annotated[
        Path | None, typer.Option("--truth", metavar="FILE", help="Where the true holes are written at the end (CSV).")
    ] = None,
    speed: Annotated[float, typer.Option("--speed", min=0.01, max=100.0, help="Times real time.")] = 1.0,
    job: Annotated[str, typer.Option("--job", help="Job whose plate and rod lie on the table.")] = "coupon.toml",
    ports: Annotated[
        Ports | None, typer.Option("--ports", help="Kind of port.", show_default="pty where there is one")
    ] = None,
) -> None:
    """Put a virtual machine behind two ports, in real time, until Ctrl-C; ends with exit code 0."""
    machine_file = resolve(machine, kind="machines")
    believed = load_machine(machine_file)
    on_the_table = load_job(resolve(job, kind="jobs"))
    faults = _faults(fault or (), believed)
    true_plant = load_plant(resolve(plant, kind="plants") if plant else None)
    _refuse_overwriting(write_machine, machine_file, truth)
    wired = WiredMachine(believed, on_the_table, build_plan(on_the_table, believed), true_plant, seed, faults)
    with _opened(_kind(ports)) as pair, interruption() as stop:
        motion, sampler = pair
        write_whole(write_machine, with_ports(machine_file.read_text(encoding="utf-8"), motion.url, sampler.url))
        _announce(believed, motion, sampler, write_machine)
        typed = Typed(sys.stdin)
        pace = serve(wired, pair, speed, lambda: stop.asked or _hands(wired, typed))
    _tell_end(wired, pace)
    if truth is not None:
        write_whole(truth, truth_table(wired.true_holes()))


def _hands(machine: WiredMachine, typed: Typed) -> bool:
    """Do what was typed; never a reason to end."""
    for line in typed.lines():
        if line.strip():
            err.print(obey(machine.plant, line), markup=False, highlight=False, soft_wrap=True)
    return False


def with_ports(text: str, motion_url: str, sampler_url: str) -> str:
    """The text of a machine file with its ports replaced, everything else as it was.

    Raises:
        BadUsage: The file writes these sections in a form in which a port can't be replaced.
    """
    urls = {"motion": motion_url, "sampler": sampler_url}
    lines: list[str] = []
    section = ""
    for line in text.removeprefix(WRITTEN_HERE).splitlines():
        head = SECTION.match(line)
        if head is not None:
            section = head[1]
        if section in urls and PORT_KEY.match(line):
            continue
        lines.append(line)
        if head is not None and section in urls:
            lines.append(f'port = "{urls[section]}"')
    for missing, url in urls.items():
        if not any(head and head[1] == missing for head in map(SECTION.match, lines)):
            lines += ["", f"[{missing}]", f'port = "{url}"']
    changed = WRITTEN_HERE + "\n".join(lines) + "\n"
    if not _same_but_ports(text, changed, urls):
        raise BadUsage("the machine file can't be copied with new ports; write [motion] and [sampler] as plain tables")
    return changed


def _same_but_ports(text: str, changed: str, urls: dict[str, str]) -> bool:
    """Whether the copy says what the file says, with these ports."""
    wanted = tomllib.loads(text)
    for section, url in urls.items():
        wanted.setdefault(section, {})["port"] = url
    try:
        return tomllib.loads(changed) == wanted
    except tomllib.TOMLDecodeError:
        return False


def _faults(specs: Sequence[str], machine: Machine) -> tuple[Planned, ...]:
    try:
        return tuple(planned(spec, machine.motion.convention) for spec in specs)
    except BadFaultError as bad:
        raise BadUsage(str(bad)) from bad


def _refuse_overwriting(written: Path, machine_file: Path, truth: Path | None) -> None:
    """Nothing that a user made is written over."""
    if written.exists() and not _ours(written):
        raise BadUsage(f"--write-machine {written}: exists and was not written by simulate; name another file")
    if not written.parent.is_dir():
        raise BadUsage(f"--write-machine {written}: there is no folder {written.parent}; make it first")
    if written.exists() and machine_file.samefile(written):
        raise BadUsage(f"--write-machine {written}: is the machine file itself; name another file")
    if truth is not None and truth.exists():
        raise BadUsage(f"--truth {truth}: exists; name another file")
    if truth is not None and not truth.parent.is_dir():
        raise BadUsage(f"--truth {truth}: there is no folder {truth.parent}; make it first")


def _ours(written: Path) -> bool:
    try:
        return written.read_text(encoding="utf-8").startswith(WRITTEN_HERE)
    except (OSError, UnicodeDecodeError):
        return False


def _kind(asked: Ports | None) -> Ports:
    if asked is Ports.PTY and not HAS_PTY:
        raise BadUsage("--ports pty: this system has no pseudo-terminals; use --ports tcp")
    return asked or (Ports.PTY if HAS_PTY else Ports.TCP)


@contextmanager
def _opened(kind: Ports) -> Iterator[tuple[Port, Port]]:
    opened: list[Port] = []
    try:
        opened.extend(TerminalPort() if kind is Ports.PTY else SocketPort() for _ in range(2))
        yield opened[0], opened[1]
    finally:
        for port in opened:
            port.close()


def _announce(machine: Machine, motion: Port, sampler: Port, written: Path) -> None:
    for line in (
        f"Virtual machine {machine.name}: motion board ({machine.motion.convention}) at {motion.url}",
        f"Sampler ({machine.sampler.front_end} front end) at {sampler.url}",
        f"Machine file with these ports: {written}. Ctrl-C ends it.",
        f"What hands would do is typed here: {WORDS}.",
    ):
        out.print(line, markup=False, highlight=False, soft_wrap=True)


def _tell_end(machine: WiredMachine, pace: Pace) -> None:
    words = f"Ended after {machine.now_s:.1f} s of machine time."
    if pace.slips:
        words += (
            f" The computer was too slow {pace.slips} times; {pace.slipped_s:.2f} s were let slip: "
            "what was timed then is not worth much."
        )
        if not pace.prompt:
            words += " The system did not let it run at a fixed priority, which would help."
    err.print(words, markup=False, highlight=False, soft_wrap=True)
