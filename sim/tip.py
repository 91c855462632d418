"""The tip in the world: where it stands, what metal lies below and beside it, and how the rod gives way to that."""

from __future__ import annotations

from math import cos, hypot, inf, pi, sin
from typing import Final

from controller.settings.units import MM_PER_M
from sim.axes import Axes
from sim.electrode import ElectrodeTruth
from sim.erosion import Erosion
from sim.ground import Below, Ground
from sim.hole import HoleTruth
from sim.press import NEW_TOUCH_UM, Press
from sim.random import Draws
from sim.settings import PlantSettings
from sim.workpiece import Rod, Workpiece

# How far above what lies below it a tip was left. Chosen: it was seen to be clear.
LEFT_ABOVE_UM: Final = 1000.0
# What stands back from the lowest point by no more than this belongs to the flat at the end. Chosen.
FLAT_UM: Final = 2.0
# What a rod gives way sideways at its end before it stays bent. Chosen: the yield of a 1.2 mm rod of tungsten 45 mm
# free lies above 1 mm (L²·σ/(3·E·r), σ 1 GPa).
SPRING_UM: Final = 1000.0
# Down or up by less than this the room beside the rod is the same (um). Chosen: a row of the wall is higher.
SIDE_UM: Final = 10.0


class Tip:
    """One electrode over the ground.

    Args:
        plant: What is true of rod and reference plate.
        axes: What carries it.
        ground: What lies on the table.
        electrode: Its shape.
        erosion: Told which hole it stands over.
        draws: The touches' own stream.

    Attributes:
        below: What lies below, as seen when it stood clear last.
        metal_um: How high that is.
        moved: It has come to another place, or the ground was changed: what lies below has to be seen anew.
        press: How it is pressed on metal.
        scatter_um: How touches on the reference plate scatter.
    """

    __slots__ = (
        "_axes", "_electrode", "_erosion", "_ground", "_hole", "_lean", "_plant", "_rod_shape", "_rod_worn_um3",
        "_side_tip_um", "_side_um", "_toward", "below", "metal_um", "moved", "press", "scatter_um",
    )  # fmt: skip

    def __init__(
        self,
        plant: PlantSettings,
        axes: Axes,
        ground: Ground,
        electrode: ElectrodeTruth,
        erosion: Erosion,
        draws: Draws,
    ) -> None:
        self._plant = plant
        self._axes, self._ground, self._electrode, self._erosion = axes, ground, electrode, erosion
        self.press = Press(electrode, plant.rod.crash_um, draws)
        self.below = Below.NOTHING
        self.metal_um = -inf
        self.moved = True
        self.scatter_um = plant.plate.touch_scatter_um
        self._hole: HoleTruth | None = None
        self._rod_shape: Rod | None = None
        self._rod_worn_um3 = -1.0
        self._side_um = self._side_tip_um = inf
        self._lean = plant.rod.lean_x_mm_m / MM_PER_M, plant.rod.lean_y_mm_m / MM_PER_M
        self._toward = 1.0, 0.0
        # Whoever left the machine left the tip above what lies there.
        x_um, y_um, _ = axes.face_um
        axes.left_above(ground.height_um(x_um, y_um) + electrode.length_um + LEFT_ABOVE_UM)

    @property
    def z_um(self) -> float:
        """Height of its lowest point."""
        return self._axes.face_z_um - self._electrode.length_um

    @property
    def place_um(self) -> tuple[float, float, float]:
        """Where it truly is: off its axis by the rod's run-out, always the same way while it isn't turned.

        Across the run-out it stands bent, as crashes left it.
        """
        x_um, y_um, z_um = self._axes.face_um
        electrode, (c, s) = self._electrode, self._toward
        out_um, bend_um = electrode.run_out_um, electrode.bend_um
        return x_um + c * out_um - s * bend_um, y_um + s * out_um + c * bend_um, z_um - electrode.length_um

    def stopped_at(self, turn: float) -> None:
        """The spindle has stopped, so many turns (0 to 1) from where the run-out points along x."""
        self._toward = cos(2.0 * pi * turn), sin(2.0 * pi * turn)

    @property
    def placed(self) -> Workpiece | None:
        """The plate that may be touched from any side, while nothing has been drilled in it here."""
        return None if self._begun else self._ground.placed

    def rod(self) -> Rod:
        """The end of the electrode as it is now worn."""
        electrode = self._electrode
        if self._rod_worn_um3 != electrode.lost_um3 or self._rod_shape is None:
            grid, profile_um = electrode.rings, electrode.profile_um
            level = sum(height_um <= FLAT_UM for height_um in profile_um)
            radius_um = grid.radius_um - 0.5 * self._plant.rod.undersize_um
            flat_um = radius_um * level / max(len(profile_um), 1)
            self._rod_shape = Rod(radius_um, electrode.cone_um, flat_um, self._lean)
            self._rod_worn_um3 = electrode.lost_um3
        return self._rod_shape

    def rings(self) -> list[tuple[float, float]]:
        """(height above the lowest point, area) of its solid rings."""
        grid = self._electrode.rings
        return list(zip(self._electrode.profile_um, grid.area_um2[grid.solid :], strict=True))

    def press_on(self, plate: Workpiece) -> float:
        """Gap to a plate that may be touched from any side (um, negative when pressed on)."""
        gap_um = plate.gap_um(*self.place_um, self.rod())
        return self.press.on(gap_um, self._plant.plate.touch_scatter_um, lets_go=True)

    def press_on_reference(self) -> float:
        """Clear height above the reference plate (um, negative when pressed on)."""
        return self.press.on(self.z_um - self.metal_um, self.scatter_um, lets_go=False)

    def look_below(self) -> bool:
        """The electrode is on its way sideways, or has just arrived: bend the rod, or see what lies below.

        True when it stands over a place that it was not over before.
        """
        axes = self._axes
        x_um, y_um, _ = axes.face_um
        tip_um = self.z_um
        here_um = self._ground.height_um(x_um, y_um)
        sideways, axes.moved_sideways = axes.moved_sideways, False
        if sideways and self._inside(x_um, y_um, tip_um):
            return False
        self._side_um = inf
        placed = self.placed
        if placed is not None and self.below is not Below.REFERENCE:
            if sideways and tip_um < self._ground.face_um(x_um, y_um) + NEW_TOUCH_UM:
                self.press_on(placed)
        elif sideways and tip_um < max(self.metal_um, here_um):
            self.press.bend(axes.sideways_um)
        self.moved = True
        if sideways or tip_um < self.metal_um:
            return False
        self.moved = False
        self.press.elsewhere()
        self.below = self._ground.below(x_um, y_um)
        self.metal_um = here_um
        self._hole = None
        if self.below is Below.WORK:
            self._hole = self._ground.hole_at(x_um, y_um)
            self._erosion.start_hole(here_um, self._hole)
        else:
            self._erosion.leave()
        return True

    def at_wall(self) -> bool:
        """True when the rod stands against the wall of its hole; looked at anew once it has moved up or down."""
        tip_um = self.z_um
        if tip_um >= self.metal_um:
            return False
        if abs(tip_um - self._side_tip_um) > SIDE_UM:
            self._side_tip_um = tip_um
            x_um, y_um, _ = self._axes.face_um
            self._inside(x_um, y_um, tip_um)
        return self._side_um <= 0.0

    @property
    def _begun(self) -> bool:
        """The place below has been drilled: what is metal there is the hole's affair."""
        return self._hole is not None and self._hole.deepest_um > 0.0

    def _inside(self, x_um: float, y_um: float, tip_um: float) -> bool:
        """True while the rod moves sideways inside a hole; it meets the wall, and gives way like a spring."""
        hole = self._erosion.hole
        if hole is None or hole.centre_um is None or hole.removed_um3 <= 0.0 or tip_um >= self.metal_um:
            return False
        x, y = self._ground.in_work(x_um, y_um)
        off_um = hypot(x - hole.centre_um[0], y - hole.centre_um[1])
        self._side_um = hole.side_room_um(self._electrode.profile_um, self.metal_um - tip_um) - off_um
        if -self._side_um > SPRING_UM:
            self.press.bend(-self._side_um - SPRING_UM)
        return True
