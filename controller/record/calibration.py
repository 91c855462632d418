"""The calibration file of a machine: `calibration/<machine>.toml`, written by `check`, read by every run.

A newer one takes its place; the one before is kept under the time it was measured.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from controller.core.events import Checked
from controller.record.files import write_whole
from controller.settings.calibration import Calibration
from controller.settings.load import load_overlay
from controller.settings.machine import DropOuts

HEADING = """\
# Measured by `gapwright check`; every run on this machine believes it instead of the machine file. `check` writes it
# anew and keeps the one before. To believe the machine file again, move this file away.
"""
# Figures that only the record uses: key, check, name of the figure.
RECORDED = (
    ("touch_s_um", "repeatability", "s"),
    ("retract_worst_ms", "retract", "worst"),
    ("contact_broken_ms", "source", "broken after"),
    ("starved_contact_ms", "starved-source", "fell after"),
    ("noise_mv", "front-end", "noise"),
    ("tip_length_mm", "electrode", "tip length"),
)


def calibration_file(workshop: Path, machine: str) -> Path:
    """Where the calibration of a machine is kept."""
    return workshop / "calibration" / f"{machine}.toml"


def read_calibration(workshop: Path, machine: str) -> Calibration | None:
    """The calibration of a machine; None when it was never checked. Raises SettingsError for a file that is none."""
    path = calibration_file(workshop, machine)
    return load_overlay(path, None, Calibration) if path.is_file() else None


def measured_by(
    verdicts: Iterable[Checked], machine: str, when_utc: str, before: Calibration | None
) -> Calibration | None:
    """What these checks have measured, the rest as it was before; None when they have measured nothing.

    Only checks that were passed count.
    """
    figures = {
        (verdict.name, figure.name): figure.figure
        for verdict in verdicts
        if verdict.outcome == "pass"
        for figure in verdict.figures
    }
    recorded = {key: round(figures[check, name], 3) for key, check, name in RECORDED if (check, name) in figures}
    drop_outs = _drop_outs(figures) or (before.drop_outs if before else None)
    backlash_um = figures.get(("backlash", "B"))
    if drop_outs is None and backlash_um is None and not recorded:
        return None
    return Calibration(
        machine=machine,
        when_utc=when_utc,
        drop_outs=drop_outs,
        backlash_z_um=round(max(backlash_um, 0.0), 2)
        if backlash_um is not None
        else (before.backlash_z_um if before else None),
        measured=(before.measured if before else {}) | recorded,
    )


def write_calibration(workshop: Path, calibration: Calibration, before: Calibration | None) -> Path:
    """Write it; the one before is kept under its own time. Raises OSError."""
    path = calibration_file(workshop, calibration.machine)
    path.parent.mkdir(parents=True, exist_ok=True)
    if before is not None and path.is_file():
        stamp = re.sub(r"[^0-9TZ]", "", before.when_utc)
        path.replace(path.with_name(f"{calibration.machine}-{stamp}.toml"))
    write_whole(path, calibration_text(calibration))
    return path


def calibration_text(calibration: Calibration) -> str:
    """A calibration as TOML."""
    lines = [
        HEADING,
        f'machine = "{calibration.machine}"',
        f'when_utc = "{calibration.when_utc}"',
    ]
    if calibration.backlash_z_um is not None:
        lines.append(f"backlash_z_um = {calibration.backlash_z_um!r}")
    if calibration.drop_outs is not None:
        lines += ["", "[drop_outs]", *(f"{key} = {each!r}" for key, each in calibration.drop_outs.model_dump().items())]
    if calibration.measured:
        lines += ["", "[measured]", *(f"{key} = {each!r}" for key, each in calibration.measured.items())]
    return "\n".join(lines) + "\n"


def _drop_outs(figures: dict[tuple[str, str], float]) -> DropOuts | None:
    rate_hz = figures.get(("fingerprint", "rate"))
    if rate_hz is None:
        return None
    median_s = figures["fingerprint", "median"] * 1e-3
    longest_s = figures["fingerprint", "longest to expect"] * 1e-3
    # A source that lasts alike every time has its longest at its median; the model asks for a little more.
    longest_s = max(longest_s, 1.05 * median_s)
    return DropOuts(rate_hz=round(rate_hz, 4), median_s=round(median_s, 4), longest_s=round(longest_s, 4))
