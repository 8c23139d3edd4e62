"""Pits under a sealed slab: hemisphere, box, and hemispheres near walls."""

import functools
import math

import numpy as np
from shapely.geometry import Point, box

from problems.soils import MU, beyond, growing_edges, layer, solve_soil, split_times
from soilflow.flow.grid import NORMAL, Grid, graded_edges, grid_for
from soilflow.layout.bodies import Ball, Brick, HeldBody, Outside
from soilflow.site.effects import LeaksOverArea

K = 1e-12
RADIUS = 0.25
FLOOR = box(0.0, 0.0, 10.0, 10.0)


def far(radius, centre=(0.0, 0.0, 0.0)):
    return HeldBody(port="far", body=Outside(inner=Ball(centre=centre, radius=radius)))


def with_end(edges):
    """One more cell, so that the far hemisphere meets no edge of the grid."""
    return beyond(edges, edges[-1] - edges[-2])


def shape_factor(answer):
    return answer.flow("pit", {"pit": -1.0, "far": 0.0}) * MU / K


def to_half_space(seen, solid_angle, radius):
    """Shape factor without the far hemisphere."""
    return 1.0 / (1.0 / seen + 1.0 / (solid_angle * radius))


@functools.cache
def shell(times, end, growth=1.4):
    """A quarter of a hemisphere, cells of r / 5 out to 1.2 r, then growing."""
    edges = with_end(growing_edges(0.0, 0.3, RADIUS / 5.0, growth, end))
    grid = split_times(Grid(x=edges, y=edges, z=edges), times)
    pit = HeldBody(port="pit", body=Ball(centre=(0.0, 0.0, 0.0), radius=RADIUS))
    return solve_soil(grid, [layer(K, 0.0, end + 9.0)], [pit, far(end)])


def pressure_in_a_shell(times):
    """One metre from the middle, along the slab, interpolated in 1 / r: there it is straight."""
    answer = shell(times, 10.0)
    row = answer.cells({"pit": -250.0, "far": 0.0})[:, 0, 0]
    x, y, z = (answer.soil.grid.centres(axis) for axis in range(3))
    r = np.sqrt(x**2 + y[0] ** 2 + z[0] ** 2)
    have = np.isfinite(row)
    return np.interp(-1.0, -1.0 / r[have], row[have])


@functools.cache
def box_pit(times):
    edges = with_end(growing_edges(0.0, 0.3, 0.05, 1.3, 4.0))
    grid = split_times(Grid(x=edges, y=edges, z=edges), times)
    pit = HeldBody(port="pit", body=Brick(low=(-0.2, -0.2, -0.2), high=(0.2, 0.2, 0.2)))
    answer = solve_soil(grid, [layer(K, 0.0, 13.0)], [pit, far(4.0)])
    return to_half_space(4.0 * shape_factor(answer), 2.0 * math.pi, 4.0)


def house_grid_error(body, exact, resolution=NORMAL):
    """Error of a pit in the middle of a sealed floor on the grid that a house would get."""
    end = 4.9
    floor = LeaksOverArea(plan=FLOOR, depth=0.0, leakance=0.0, reference="house")
    effects = [layer(K, 0.0, 8.0), floor]
    pit = HeldBody(port="pit", body=body)
    grid = grid_for(effects, [pit], resolution)
    answer = solve_soil(grid, effects, [pit, far(end, (5.0, 5.0, 0.0))])
    seen = answer.flow("pit", {"pit": -1.0, "far": 0.0, "house": 0.0}) * MU / K
    return to_half_space(seen, 2.0 * math.pi, end) / exact - 1.0


def toward_wall(distance, end):
    """Edges from a wall at 0, past a pit centred at a distance, on to the far field."""
    inner = np.linspace(0.0, distance + 0.35, round((distance + 0.35) / 0.05) + 1)
    outer = growing_edges(inner[-1], inner[-1] + 0.1, 0.05, 1.35, end)
    return with_end(np.concatenate([inner, outer[1:]]))


@functools.cache
def near_walls(times, walls):
    """A hemisphere 0.6 m from one sealed wall or from two; symmetric along the single wall."""
    end = 6.0
    x = toward_wall(0.6, end)
    y = x if walls == 2 else with_end(growing_edges(0.0, 0.35, 0.05, 1.35, end))
    z = with_end(growing_edges(0.0, 0.35, 0.05, 1.35, end))
    grid = split_times(Grid(x=x, y=y, z=z), times)
    centre = (0.6, 0.6 if walls == 2 else 0.0, 0.0)
    pit = HeldBody(port="pit", body=Ball(centre=centre, radius=RADIUS))
    answer = solve_soil(grid, [layer(K, 0.0, end + 9.0)], [pit, far(end)])
    seen = shape_factor(answer) * (1.0 if walls == 2 else 2.0)
    return to_half_space(seen, 2.0 * math.pi / 2**walls, end)


@functools.cache
def flat_plate(shape, cells):
    """A plate without thickness on the underside, 1 m in radius or side; a quarter of it.

    Its rim is singular, so the cells shrink towards it.
    """
    rim, end = (1.0, 12.0) if shape == "disk" else (0.5, 6.0)
    size, rate = 0.25 * rim / cells, 2.4 / cells
    x = with_end(
        graded_edges([0.0, rim, end], [(rim, rim, size)], math.exp(rate), [(0.0, 99.0, 2.0)])
    )
    z = with_end(graded_edges([0.0, end], [(0.0, 0.0, size)], math.exp(rate), [(0.0, 99.0, 2.0)]))
    plan = Point(0.0, 0.0).buffer(rim, 256) if shape == "disk" else box(-rim, -rim, rim, rim)
    plate = LeaksOverArea(plan=plan, depth=0.0, leakance=math.inf, reference="plate")
    grid = Grid(x=x, y=x, z=z)
    answer = solve_soil(grid, [layer(K, 0.0, end + 9.0), plate], [far(end)])
    seen = 4.0 * answer.flow("plate", {"plate": -1.0, "far": 0.0}) * MU / K
    return to_half_space(seen, 2.0 * math.pi, end)
