"""What `check` has measured of a machine, where the program believes it instead of the machine file."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from controller.settings.base import Settings
from controller.settings.machine import DropOuts, Machine


class Calibration(Settings):
    """Measured figures of one machine. `measured` holds those that nothing but the record uses.

    Attributes:
        machine: Name of the machine.
        when_utc: When the latest of them was measured.
        drop_outs: The source's fingerprint.
        backlash_z_um: Lost motion of the feed axis.
    """

    machine: str
    when_utc: str
    drop_outs: DropOuts | None = None
    backlash_z_um: Annotated[float, Field(ge=0)] | None = None
    measured: dict[str, float] = Field(default_factory=dict)

    def words(self) -> str:
        """What is believed by it, in one line."""
        parts = []
        if self.drop_outs is not None:
            parts.append(f"drop-outs {self.drop_outs.rate_hz:.2f} a second, median {self.drop_outs.median_s:.3f} s")
        if self.backlash_z_um is not None:
            parts.append(f"backlash of z {self.backlash_z_um:.0f} µm")
        return f"{', '.join(parts) or 'nothing'}, measured {self.when_utc}"


def calibrated(machine: Machine, calibration: Calibration | None) -> Machine:
    """The machine with what was measured of it in place of what its file says."""
    if calibration is None:
        return machine
    changes: dict[str, object] = {}
    if calibration.drop_outs is not None:
        changes["drop_outs"] = calibration.drop_outs
    if calibration.backlash_z_um is not None:
        x, y, _ = machine.axes.backlash_um
        changes["axes"] = machine.axes.model_copy(update={"backlash_um": (x, y, calibration.backlash_z_um)})
    return machine.model_copy(update=changes)
