"""A buried drain as a line conductor."""

import functools
import math

import numpy as np
from shapely.geometry import box

from problems.soils import MU, layer, slab_body, solve_soil, split_times
from soilflow.flow.grid import NORMAL, Grid, graded_edges
from soilflow.flow.grid_lines import effect_lines
from soilflow.layout.bodies import HeldBody, OnLine
from soilflow.site.effects import CarriesAlongLine, LeaksOverArea

K = 1e-12
FAR, SQUARE = 12.0, 11.0


def line(depth, radius, *, name="tile", reference=""):
    points = ((0.0, 0.0), (0.0, 1.0))
    return CarriesAlongLine(
        name=name, points=points, depth=depth, radius=radius, reference=reference
    )


def grid_around(drain, beside=(), times=0):
    """The normal grid across a drain: one metre of it, and what else wants small cells."""
    (wanted, _, down) = effect_lines(drain)[1]
    h, growth, wide = NORMAL.line_size, NORMAL.growth, NORMAL.largest_inside
    x_lines = sorted({-FAR, -SQUARE, SQUARE, FAR, *wanted, *beside})
    x = graded_edges(x_lines, [(v, v, h) for v in beside], growth, [(-FAR, FAR, wide)])
    z_lines = sorted({0.0, SQUARE, FAR, *down})
    z = graded_edges(z_lines, [(0.0, 0.0, h)], growth, [(0.0, FAR, NORMAL.largest_down)])
    grid = split_times(Grid(x=x, y=np.array([0.0, 1.0]), z=z), times)
    return Grid(x=grid.x, y=np.array([0.0, 1.0]), z=grid.z)


def drawn(grid, effects, held, port="tile"):
    """Shape factor of one port, all others at zero. [m]"""
    answer = solve_soil(grid, effects, held)
    assert answer.response.balance <= 1e-8
    values = {name: -1.0 if name == port else 0.0 for name in answer.response.ports}
    return answer.flow(port, values) * MU / K


def on_line(name="tile"):
    return HeldBody(port=name, body=OnLine(line=name))


def open_ground():
    plan = box(-99.0, -99.0, 99.0, 99.0)
    return LeaksOverArea(plan=plan, depth=0.0, leakance=math.inf, reference="open")


@functools.cache
def under_open_ground(depth, radius, beside=(), times=0):
    drain = line(depth, radius)
    grid = grid_around(drain, beside, times)
    return drawn(grid, [layer(K, 0.0, FAR), drain, open_ground()], [on_line()])


@functools.cache
def half_buried(radius, beside=(), times=0):
    drain = line(0.0, radius)
    far = [slab_body("far", 2, SQUARE, 99.0), slab_body("far", 0, SQUARE, 99.0)]
    far.append(slab_body("far", 0, -99.0, -SQUARE))
    grid = grid_around(drain, beside, times)
    return drawn(grid, [layer(K, 0.0, FAR), drain], [on_line(), *far])


def exact(depth, radius):
    if depth > 0.0:
        return 2.0 * math.pi / math.acosh(depth / radius)
    return math.pi / math.log(2.0 * 0.5393526 * SQUARE / radius)
