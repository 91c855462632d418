"""What can go wrong on purpose: named faults at the plant or at its wires, never inside the controller.

Each is a deed, what a person does to mend it, and what it waits for; `injector.py` says when.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

from controller.core.observation import BoardState
from sim.boards.ack import AckBoard
from sim.boards.status import StatusBoard

try:
    import resource
except ImportError:  # a system without
    HAS_LIMITS = False
else:
    HAS_LIMITS = True

if TYPE_CHECKING:
    from sim.machine import VirtualMachine
    from sim.wired import WiredMachine

X, Y, Z = 0, 1, 2
# Setting 1 of a `status` board as it leaves the factory (ms): common practice, no source. wires.md asks for 255.
FACTORY_IDLE_LOCK_MS = 25.0
# An `ack` board that lets go soon (s). Chosen: shorter than any pause in a job.
SOON_S = 1.0
# A front end without its shield: standard deviation in counts of 4.9 mV. Chosen: far beyond the 8 mV of a good one, and
# enough to cross from low to high now and then.
NOISE_COUNTS = 60.0
# Lines in a row that reach the board garbled. Chosen: more than its command queue and its planner hold together.
STORM_LINES = 40
# How long a board is away when it resets: banner after 2.1 s and the bootloader (wires.md).
RESET_S = 2.5
# What is broken for good.
EVER_S = inf
# A garbled stream is not understood for this long. Chosen: beyond what is told from a late sample.
GARBLED_S = 0.4
# A freeze and a stumble of the host: beyond and within what the fail-safe gate bears (60 ± 20 ms, electrics.md).
FREEZE_S, OVERRUN_S = 0.5, 0.03
# Lengths (um): what a rod loses when its tip breaks off, how far it slips, how far a plate is pushed, how much a place
# stands higher than its neighbours, what a stalled axis loses. Chosen: each beyond what a machine does by itself.
BROKEN_UM, SLIPPED_UM, MOVED_UM, RAISED_UM, STALLED_UM = 4000.0, 2500.0, (450.0, -350.0), 900.0, 300.0
FAR_UM, MISPLACED_UM = 12_000.0, 16_000.0
# A plate flooded by water that conducts like the sea's (uS/cm): common practice, no source.
FLOOD_UM, SEA_US_CM = 600.0, 50_000.0
# Scatter of touches on a plate with chips on it (um). Chosen.
CHIPS_UM = 500.0
# Drop-outs so much more often than usual. Chosen: away more than there.
STORM_GAIN = 60.0
# A disk counts as full for whatever goes beyond this in a file. Chosen: room for some lines of a log, none for a whole
# machine put aside.
FULL_BYTES = 65_536
# Beside the plate's thickness: another one under it, or a thinner one; and room below that is not there (um). Chosen.
THICKER, THINNER, NO_ROOM_UM = 12.0, 0.5, 250.0


class Site:
    """Where faults happen: the plant, and the boards in front of it where there are any."""

    __slots__ = ("plant", "wired")

    def __init__(self, plant: VirtualMachine, wired: WiredMachine | None = None) -> None:
        self.plant, self.wired = plant, wired

    @property
    def sparking(self) -> bool:
        """The tip stands in the work and sparks."""
        erosion = self.plant.truth.erosion
        return self.plant.contacts.live and erosion.state == "sparking" and erosion.hole is not None


Deed = Callable[[Site], None]
ALWAYS: Callable[[Site], bool] = lambda _site: True  # noqa: E731 - one word in the table below


@dataclass(slots=True, frozen=True)
class Fault:
    """One fault: what it does, what a person does to mend it, and what it waits for.

    `wires` says where it can be injected: `both`, `rehearsal`, `simulated`, or `ack` (simulated `ack` boards alone).
    """

    deed: Deed
    mend: Deed = lambda _site: None
    when: Callable[[Site], bool] = ALWAYS
    wires: str = "both"


# -- sampler ---------------------------------------------------------------------------------------------------------


def _stream_stops(site: Site) -> None:
    """The sampler hangs; its pins stay as they are."""
    if site.wired is not None:
        site.wired.sampler.silenced = True
    else:
        site.plant.silence(EVER_S)


def _sampler_resets(site: Site) -> None:
    """Every output floats and is pulled down; nothing comes for a while, and then it wants to be asked again."""
    if site.wired is not None:
        site.wired.sampler.boot()
    else:
        site.plant.silence(RESET_S)
        site.plant.outputs_low()


def _stream_garbles(site: Site) -> None:
    """Bytes come that mean nothing."""
    if site.wired is not None:
        site.wired.pins.noise_counts = NOISE_COUNTS
        site.wired.sampler.silenced = True
    else:
        site.plant.silence(GARBLED_S)


def _gap_wire(site: Site) -> None:
    site.plant.upset_wires().gap_dead = True


def _gap_wire_mended(site: Site) -> None:
    site.plant.upset_wires().gap_dead = False


def _noisy_front_end(site: Site) -> None:
    if site.wired is not None:
        site.wired.pins.noise_counts = NOISE_COUNTS


# -- motion board ----------------------------------------------------------------------------------------------------


def _board_becomes(state: BoardState) -> Deed:
    def deed(site: Site) -> None:
        site.plant.axes.forget()
        site.plant.upset_wires().board = state

    return deed


def _board_resets(site: Site) -> None:
    if site.wired is not None:
        site.wired.motion.boot()
    else:
        _board_becomes(BoardState.LOST)(site)


def _board_well(site: Site) -> None:
    site.plant.upset_wires().board = None


def _resend_storm(site: Site) -> None:
    if site.wired is not None and isinstance(site.wired.motion, AckBoard):
        site.wired.motion.intake.garble(STORM_LINES)


def _reversed(axis: int) -> Deed:
    """A motor is plugged in the wrong way round."""

    def deed(site: Site) -> None:
        if site.wired is not None:
            site.wired.motors.signs[axis] = -1

    return deed


def _idle_lock(site: Site) -> None:
    """The board lets its motors go when it has nothing to do; an `ack` board of this kind can't be told otherwise."""
    board = site.wired.motion if site.wired is not None else None
    if isinstance(board, StatusBoard):
        board.settings.by_number[1] = FACTORY_IDLE_LOCK_MS
    elif board is not None:
        board.build_without_idle_lock(SOON_S)


def _lost_steps(site: Site) -> None:
    """The axes run against something and stall for a moment."""
    for axis in (X, Y):
        site.plant.axes.slip(axis, STALLED_UM)


# -- contacts --------------------------------------------------------------------------------------------------------


def _contact_stuck(site: Site) -> None:
    """The source contact welds: it is shut from now on."""
    site.plant.contacts.weld_source(site.plant.time_s)


def _source_reversed(site: Site) -> None:
    """The source is wired the wrong way round: the tool is positive."""
    site.plant.swap_poles(True)


def _contact_loose(site: Site) -> None:
    site.plant.contacts.source.settle_open()
    site.plant.contacts.refresh(site.plant.time_s)


def _coil(name: str, *, dead: bool) -> Deed:
    """A coil gets no current any more."""

    def deed(site: Site) -> None:
        contacts = site.plant.contacts
        getattr(contacts, name).dead = dead
        contacts.refresh(site.plant.time_s)

    return deed


def _leaks(leaking: bool) -> Deed:
    """Voltage comes to the electrode past the open contact."""

    def deed(site: Site) -> None:
        site.plant.contacts.leaks = leaking
        site.plant.contacts.refresh(site.plant.time_s)

    return deed


def _chatters(chattering: bool) -> Deed:
    def deed(site: Site) -> None:
        site.plant.contacts.chatter(chattering, site.plant.time_s)

    return deed


def _heartbeat_supply(supplied: bool) -> Deed:
    """The charge pump has no supply: its edges lead nowhere and the gate starves."""

    def deed(site: Site) -> None:
        site.plant.contacts.gate.supplied = supplied
        if site.wired is not None:
            site.wired.pins.heartbeat_supplied = supplied

    return deed


# -- switches, water -------------------------------------------------------------------------------------------------


def _stop(pressed: bool) -> Deed:
    return lambda site: site.plant.press_stop(pressed)


def _guard(closed: bool) -> Deed:
    def deed(site: Site) -> None:
        site.plant.guard_closed = closed

    return deed


def _level(enough: bool) -> Deed:
    def deed(site: Site) -> None:
        site.plant.level_ok = enough

    return deed


def _flooded(flooded: bool) -> Deed:
    """Water stands on everything and conducts as none should."""
    return lambda site: site.plant.flood(FLOOD_UM if flooded else 0.0, SEA_US_CM if flooded else 0.0)


# -- gap, electrode, set-up ------------------------------------------------------------------------------------------


def _weld(site: Site) -> None:
    site.plant.truth.erosion.weld_for_good()


def _bridge(site: Site) -> None:
    site.plant.truth.erosion.bridge_now()


def _free(site: Site) -> None:
    site.plant.truth.erosion.free()


def _source_dead(dead: bool) -> Deed:
    def deed(site: Site) -> None:
        site.plant.truth.erosion.dead = dead

    return deed


def _storm(gain: float) -> Deed:
    return lambda site: site.plant.truth.erosion.drop_outs_by(gain)


def _thickness(times: float) -> Deed:
    """From the next hole on the plate is so many times as thick."""
    return lambda site: site.plant.thicken(times)


def _no_room(site: Site) -> None:
    site.plant.truth.erosion.clear_below(NO_ROOM_UM)


def _snap(by_um: float, *, flat: bool) -> Deed:
    return lambda site: site.plant.shorten_electrode(by_um, flat=flat)


def _rod_held(stuck: bool) -> Deed:
    return lambda site: site.plant.hold_electrode(stuck)


def _plate_grounded(grounded: bool) -> Deed:
    def deed(site: Site) -> None:
        site.plant.ground_plate(grounded)

    return deed


def _plate_scatter(scatter_um: float | None) -> Deed:
    return lambda site: site.plant.dirty_plate(scatter_um)


def _move_work(back: float) -> Deed:
    return lambda site: site.plant.move_work(back * MOVED_UM[0], back * MOVED_UM[1])


def _raise_work(by_um: float) -> Deed:
    return lambda site: site.plant.lift_work(by_um)


# -- host ------------------------------------------------------------------------------------------------------------


def _signal(number: int) -> Deed:
    return lambda _site: os.kill(os.getpid(), number)


def _host_stands_still(seconds: float) -> Deed:
    """The machine lives on, and no tick of the host comes."""
    return lambda site: site.plant.alone(seconds)


def _files_end_at(limit: int | None) -> Deed:
    """No file of this process may grow beyond this (bytes): what a full disk does, to it alone."""

    def deed(_site: Site) -> None:
        _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most if limit is None else limit, most))

    return deed


KILL = getattr(signal, "SIGKILL", signal.SIGTERM)

FAULTS: dict[str, Fault] = {
    "stream-stops": Fault(_stream_stops, lambda site: site.plant.silence(0.0)),
    "sampler-resets": Fault(_sampler_resets),
    "stream-garbles": Fault(_stream_garbles),
    "gap-wire-open": Fault(_gap_wire, _gap_wire_mended),
    "gap-wire-grounded": Fault(_gap_wire, _gap_wire_mended),
    "noisy-front-end": Fault(_noisy_front_end, wires="simulated"),
    "board-reset": Fault(_board_resets, _board_well),
    "board-alarm": Fault(_board_becomes(BoardState.ALARM), _board_well, wires="rehearsal"),
    "board-silent": Fault(_board_becomes(BoardState.LOST), _board_well, wires="rehearsal"),
    "resend-storm": Fault(_resend_storm, wires="ack"),
    "x-reversed": Fault(_reversed(X), wires="simulated"),
    "y-reversed": Fault(_reversed(Y), wires="simulated"),
    "z-reversed": Fault(_reversed(Z), wires="simulated"),
    "idle-lock": Fault(_idle_lock, wires="simulated"),
    "lost-steps": Fault(_lost_steps),
    "contact-stuck": Fault(_contact_stuck, _contact_loose),
    "contact-dead": Fault(_coil("source", dead=True), _coil("source", dead=False)),
    "contact-leaks": Fault(_leaks(True), _leaks(False)),
    "contact-chatters": Fault(_chatters(True), _chatters(False)),
    "sensing-dead": Fault(_coil("sensing", dead=True), _coil("sensing", dead=False)),
    "no-heartbeat-supply": Fault(_heartbeat_supply(False), _heartbeat_supply(True)),
    "stop-pressed": Fault(_stop(True), _stop(False)),
    "guard-opened": Fault(_guard(False), _guard(True), when=lambda site: site.sparking),
    "tank-low": Fault(_level(False), _level(True)),
    "flow-stops": Fault(_coil("pump", dead=True), _coil("pump", dead=False)),
    "water-conducts": Fault(_flooded(True), _flooded(False)),
    "welded": Fault(_weld, _free, when=lambda site: site.sparking),
    "bridged": Fault(_bridge, _free, when=lambda site: site.sparking),
    "source-dead": Fault(_source_dead(True), _source_dead(False)),
    "drop-out-storm": Fault(_storm(STORM_GAIN), _storm(1.0)),
    "plate-thick": Fault(_thickness(THICKER), _thickness(1.0)),
    "plate-thin": Fault(_thickness(THINNER), _thickness(1.0)),
    "no-room-below": Fault(_no_room),
    "electrode-broken": Fault(_snap(BROKEN_UM, flat=True), when=lambda site: site.sparking),
    "electrode-slipped": Fault(_snap(SLIPPED_UM, flat=False), when=lambda site: site.sparking),
    "electrode-misplaced": Fault(_snap(MISPLACED_UM, flat=False), _snap(-MISPLACED_UM, flat=False)),
    "electrode-exhausted": Fault(_rod_held(True), _rod_held(False)),
    "plate-not-grounded": Fault(_plate_grounded(False), _plate_grounded(True)),
    "plate-dirty": Fault(_plate_scatter(CHIPS_UM), _plate_scatter(None)),
    "work-missing": Fault(_raise_work(-FAR_UM), _raise_work(FAR_UM)),
    "work-moved": Fault(_move_work(1.0), _move_work(-1.0)),
    "work-raised": Fault(_raise_work(RAISED_UM), _raise_work(-RAISED_UM)),
    "host-killed": Fault(_signal(KILL), wires="rehearsal"),
    "host-terminated": Fault(_signal(signal.SIGTERM), wires="rehearsal"),
    "host-freezes": Fault(_host_stands_still(FREEZE_S), when=lambda site: site.plant.contacts.live, wires="rehearsal"),
    "host-overruns": Fault(_host_stands_still(OVERRUN_S), wires="rehearsal"),
    "disk-full": Fault(_files_end_at(FULL_BYTES), _files_end_at(None), wires="rehearsal"),
    "source-reversed": Fault(_source_reversed),
}
if not HAS_LIMITS:
    del FAULTS["disk-full"]
