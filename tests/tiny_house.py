"""A house small enough to be solved in a fraction of a second, as a user would write it."""

from __future__ import annotations

import functools

from soilflow.case import Case
from soilflow.files.case_toml import parse_case
from soilflow.results.result import Result
from soilflow.run import run_layout

TEXT = """\
title = "Small test house"   # in the user's own words: Länge
resolution = "coarse"
fan = "high-suction"

[slab]
size = "12 ft x 10 ft"
thickness = "4 in"
permeability = "1e-16 m2"

[walls]
thickness = "0 in"
footing_depth = "0 in"

[ground]
bottom = "6 ft"
[[ground.layers]]
permeability = "1e-11 m2"

[[joints]]
aperture = "0.3 mm"

[pipe]
size = "4 in"
branch = "10 ft"
run = "30 ft"
discharge_height = "18 ft"

[[layouts]]
name = "one in the corner"
[[layouts.points]]
name = "A"
x = "3 ft"
y = "3 ft"
pit = {shape = "box", length = "20 in", width = "20 in", depth = "12 in"}

[[layouts]]
name = "held / capped"
[[layouts.points]]
name = "B"
x = "6 ft"
y = "3 ft"
pit = "20 gal"
vacuum = "1 in. w.c."
[[layouts.points]]
name = "the one by the furnace, left open for now and shut at the riser"
x = "6 ft"
y = "8 ft"
pit = "20 gal"
capped = true

[conditions.today]
outdoor_pressure = "1 Pa"
[conditions.design_winter]
outdoor_pressure = "4 Pa"

[[test_holes]]
name = "T1"
x = "11 ft"
y = "9 ft"

[variant.tight_joint]
joints = [{aperture = "0.05 mm"}]
[variant.tight_soil]
ground = {bottom = "6 ft", layers = [{permeability = "1e-13 m2"}]}
[variant.gravel]
ground = {bottom = "6 ft", layers = [{permeability = "1e-8 m2"}]}
"""
# The same house with soil and joint not quite known, on the roughest grid that still has a pit.
_ROUGH = '{name = "rough", cells_per_radius = 1.5, line_size = 0.2, growth = 3.0}'
RANGES = (
    TEXT.replace('"coarse"', _ROUGH, 1)
    .replace('= "1e-11 m2"', '= "1e-13 to 1e-11 m2"', 1)
    .replace('= "0.3 mm"', '= "0.1 to 3 mm"', 1)
)
# The same on a grid that answers in no time, for tests of what is around the answer.
ROUGH_GRID = 'resolution = {name = "rough", cells_per_radius = 1.5, line_size = 0.2, growth = 3.0}'
ROUGH_TEXT = TEXT.replace('resolution = "coarse"', ROUGH_GRID, 1)
FIRST, SECOND = "one in the corner", "held / capped"


@functools.cache
def house(variant: str = "") -> Case:
    """The case, or one of its variants."""
    return parse_case(TEXT, file="house.toml").with_variant(variant)


@functools.cache
def solved(layout: str = FIRST, variant: str = "") -> Result:
    """One of its layouts, solved once for all tests."""
    return run_layout(house(variant), layout)
