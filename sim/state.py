"""The truth behind the wires: for truth.csv, for scoring and for monitors. The controller never sees it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from controller.settings.units import UM_PER_MM

if TYPE_CHECKING:
    from sim.axes import Axes
    from sim.contacts import Contacts
    from sim.erosion import Erosion, TrueGapState
    from sim.ground import Ground
    from sim.hole import HoleTruth
    from sim.press import Press
    from sim.stick import Stick
    from sim.water import WaterTruth
    from sim.workpiece import Workpiece


class TrueState:
    """A read-only window on the machine's true parts.

    Attributes:
        erosion: The gap: its state now, sparks, contact, bridge, weld.
        cut: The last tick was cut into pieces.
        hot_openings: How often the source contact opened while it carried current; `hot_alone` of these with no host.
        live_at_plate_s: Time for which the source stood on the electrode over the reference plate.
        live_alone_s: Longest time for which the source stayed on the electrode after the host's last tick, while it was
            away; `alone`: it is away now.
        both_feeds_s: Time for which source and sensing feed were on the electrode together.
    """

    __slots__ = (
        "_axes",
        "_contacts",
        "_ground",
        "_press",
        "_shares",
        "_stick",
        "_water",
        "alone",
        "both_feeds_s",
        "cut",
        "erosion",
        "hot_alone",
        "hot_openings",
        "live_alone_s",
        "live_at_plate_s",
    )

    def __init__(
        self,
        axes: Axes,
        contacts: Contacts,
        ground: Ground,
        stick: Stick,
        water: WaterTruth,
        erosion: Erosion,
        press: Press,
    ) -> None:
        self._axes = axes
        self._contacts = contacts
        self._ground = ground
        self._stick = stick
        self._water = water
        self.erosion = erosion
        self.hot_openings = self.hot_alone = 0
        self._press = press
        self.live_at_plate_s = 0.0
        self.both_feeds_s = 0.0
        self.live_alone_s = 0.0
        self.alone = False
        self.cut = False
        self._shares = (0.0, 0.0, 0.0, 0.0)

    @property
    def crashes(self) -> int:
        """How often the tip was driven sideways or down into metal so far that the rod bent."""
        return self._press.crashes

    def restart(self) -> None:
        """A new tick begins."""
        self.cut = False
        self._shares = (0.0, 0.0, 0.0, 0.0)

    def add_piece(self) -> None:
        """A piece of a tick is over: the gap's shares add up."""
        self.cut = True
        gap = self.erosion
        opened, sparking, shorted, off = self._shares
        self._shares = opened + gap.open_s, sparking + gap.sparking_s, shorted + gap.shorted_s, off + gap.off_s

    @property
    def state(self) -> TrueGapState:
        """What the gap is at the end of the last tick."""
        return self.erosion.state

    @property
    def shares_s(self) -> tuple[float, float, float, float]:
        """How long the gap was open, sparking, shorted and off in the last tick (s)."""
        gap = self.erosion
        return self._shares if self.cut else (gap.open_s, gap.sparking_s, gap.shorted_s, gap.off_s)

    @property
    def tip_length_mm(self) -> float:
        """Holder's face to the lowest point of the tip."""
        return self._stick.electrode.length_um / UM_PER_MM

    @property
    def stock_mm(self) -> float:
        """The whole stick, in the holder and out of it."""
        return self._stick.stock_mm

    @property
    def sticks_used(self) -> int:
        """Sticks put in after the first."""
        return self._stick.renewed

    @property
    def face_mm(self) -> tuple[float, float, float]:
        """True place of the holder's face."""
        x_um, y_um, z_um = self._axes.face_um
        return x_um / UM_PER_MM, y_um / UM_PER_MM, z_um / UM_PER_MM

    @property
    def tip_mm(self) -> float:
        """True height of the lowest point of the tip."""
        return self._axes.face_z_um / UM_PER_MM - self.tip_length_mm

    @property
    def live(self) -> bool:
        """The source is on the electrode."""
        return self._contacts.live

    @property
    def sensing_on(self) -> bool:
        """The sensing feed is on the electrode."""
        return self._contacts.sensing_on

    @property
    def flow(self) -> bool:
        """Water runs."""
        return self._contacts.flow

    @property
    def holes(self) -> Mapping[int, HoleTruth]:
        """The planned holes that were begun, by their number."""
        return self._ground.holes

    @property
    def dirt(self) -> float:
        """Dirt of the water: 0 clean, 1 the end of a long job on the default plant."""
        return self._water.dirt

    @property
    def conductivity_us_cm(self) -> float:
        """Conductivity of the water."""
        return self._water.conductivity_us_cm

    @property
    def reference_height_mm(self) -> float:
        """True height of the reference plate."""
        return self._ground.reference.height_um / UM_PER_MM

    def surface_mm(self, x_mm: float, y_mm: float) -> float:
        """True height of the work's face at a place."""
        return self._ground.face_um(x_mm * UM_PER_MM, y_mm * UM_PER_MM) / UM_PER_MM

    @property
    def axes_off_um(self) -> tuple[float, float]:
        """How far x and y really stand beyond what the board counts, arrived toward smaller figures."""
        return self._axes.off_um[0], self._axes.off_um[1]

    @property
    def axes_off_z_um(self) -> float:
        """The same for z, arrived downward."""
        return self._axes.off_um[2]

    @property
    def placed(self) -> Workpiece | None:
        """The plate, when the plant says where it lies."""
        return self._ground.placed
