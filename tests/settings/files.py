"""Good settings files as text, to be broken one entry at a time."""

from __future__ import annotations

JOB = """\
[job]
name = "plate"
technology = "pair"

[work]
material = "stainless steel"
thickness_mm = 1.0
clear_below_mm = 6.0
touch_points_mm = [[2, 2], [58, 2], [30, 48]]

[electrode]
material = "tungsten"
diameter_mm = 1.2
form = "rod"
length_mm = 120.0
min_length_mm = 25.0

[holes]
diameter_mm = 1.5
tolerance_mm = 0.05

[[holes.pattern]]
kind = "staggered"
origin_mm = [6.0, 6.0]
columns = 4
rows = 3
pitch_mm = 6.0
"""

TECHNOLOGY = """\
[pair]
name = "pair"
electrode = "tungsten"
work = ["stainless steel", "hardened stainless steel"]

[overcut_mm]
guess = 0.14
u = 0.025

[removal_mm3_s]
guess = 0.05
u = 0.02

[volumetric_wear]
guess = 0.10
u = 0.05

[cone_diameters]
guess = 0.8
u = 0.3
"""

MACHINE = """\
name = "bench"
tick_hz = 100

[axes]
steps_per_mm = [80.0, 80.0, 400.0]
travel_min_mm = [0.0, 0.0, -90.0]
travel_max_mm = [220.0, 220.0, 0.0]

[motion]
convention = "status"

[sampler]
front_end = "clamp"

[source]
open_v = 64.0

[drop_outs]
median_s = 0.06
longest_s = 0.4

[reference_plate]
x_mm = 10.0
y_mm = 10.0
height_mm = -60.0

[holder]
protrusion_mm = 45.0
min_protrusion_mm = 22.0
"""


def broken(text: str, *changes: tuple[str, str]) -> str:
    """The text with each first word sequence replaced by the second; every one must be there exactly once."""
    for before, after in changes:
        assert text.count(before) == 1, f"{before!r} stands {text.count(before)} times in the good file"
        text = text.replace(before, after)
    return text
