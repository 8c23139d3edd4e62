"""Thin walls, buried lines, deep holes and patches of other soil."""

import functools
import math

import numpy as np
from shapely.geometry import Point, box

from problems.soils import MU, beyond, layer, plane_grid, slab_body, solve_soil
from soilflow.flow.grid import Grid, graded_edges
from soilflow.layout.bodies import Ball, Cylinder, HeldBody, Outside
from soilflow.site.effects import BlocksFace, LeaksOverArea, MultipliesPermeability, Prism

K = 1e-12


def fine_around(lines, low, high, size, rate):
    """Edges through lines, of one size between ``low`` and ``high`` and growing from there."""
    return graded_edges(lines, [(low, high, size)], math.exp(rate), [])


def open_ground(reference, x0, x1):
    plan = box(x0, -99.0, x1, 99.0)
    return LeaksOverArea(plan=plan, depth=0.0, leakance=math.inf, reference=reference)


def shape_factor(answer, port, values):
    return answer.flow(port, values) * MU / K


@functools.cache
def under_a_wall(depth, cells):
    """One metre of soil over rock; a wall without thickness between two open surfaces."""
    size = 1.0 / cells
    half = fine_around([0.0, 6.0], 0.0, 0.1, size, 2.4 / cells)
    z = fine_around([0.0, depth, 1.0], depth, depth, size, 2.4 / cells)
    grid = Grid(x=np.concatenate([-half[:0:-1], half]), y=np.array([0.0, 1.0]), z=z)
    effects = [
        layer(K, 0.0, 1.0),
        BlocksFace(start=(0.0, 0.0), end=(0.0, 1.0), top=0.0, bottom=depth),
        open_ground("left", -99.0, 0.0),
        open_ground("right", 0.0, 99.0),
    ]
    return shape_factor(solve_soil(grid, effects, []), "right", {"left": 0.0, "right": -1.0})


@functools.cache
def line_below_ground(cells, reach=15.0):
    """A long pipe of 0.10 m, 0.5 m below open ground: plan coordinates stand for a section."""
    size, rate = 0.05 / cells, 0.8 / cells
    x = fine_around([0.0, reach], 0.0, 0.06, size, rate)
    y = np.concatenate([[-1.0], fine_around([0.0, reach], 0.44, 0.56, size, rate)])
    pipe = Cylinder(centre=(0.0, 0.5), radius=0.05, top=0.0, bottom=1.0)
    held = [HeldBody(port="pit", body=pipe), slab_body("open", 1, -9.0, 0.0)]
    answer = solve_soil(plane_grid(x, y, 1.0), [layer(K, 0.0, 1.0)], held)
    return 2.0 * shape_factor(answer, "pit", {"pit": -1.0, "open": 0.0})


@functools.cache
def ball_below_ground(cells):
    """A ball of 0.30 m, 0.5 m below open ground; a quarter of it on the grid."""
    size, rate, reach = 0.15 / cells, 1.4 / cells, 8.0
    x = fine_around([0.0, reach], 0.0, 0.17, size, rate)
    z = fine_around([0.0, reach], 0.33, 0.67, size, rate)
    pit = HeldBody(port="pit", body=Ball(centre=(0.0, 0.0, 0.5), radius=0.15))
    effects = [layer(K, 0.0, reach), open_ground("open", -99.0, 99.0)]
    answer = solve_soil(Grid(x=x, y=x, z=z), effects, [pit])
    return 4.0 * shape_factor(answer, "pit", {"pit": -1.0, "open": 0.0})


@functools.cache
def deep_hole(cells):
    """A drilled hole, 0.05 m by 1 m, under a sealed slab; far hemisphere taken out as a shell."""
    size, rate, reach = 0.05 / cells, 1.2 / cells, 8.0
    x = fine_around([0.0, 0.065, reach], 0.0, 0.065, size, rate)
    bounds = [(-9.0, 1.0, 0.5 / cells)]
    z = graded_edges([0.0, 1.0, reach], [(1.0, 1.0, size)], math.exp(rate), bounds)
    x, z = beyond(x, 0.5), beyond(z, 0.5)
    hole = Cylinder(centre=(0.0, 0.0), radius=0.05, top=-9.0, bottom=1.0)
    far = Outside(inner=Ball(centre=(0.0, 0.0, 0.0), radius=reach))
    held = [HeldBody(port="pit", body=hole), HeldBody(port="far", body=far)]
    answer = solve_soil(Grid(x=x, y=x, z=z), [layer(K, 0.0, 99.0)], held)
    seen = 4.0 * shape_factor(answer, "pit", {"pit": -1.0, "far": 0.0})
    return 1.0 / (1.0 / seen + 1.0 / (2.0 * math.pi * reach))


def tight(plan):
    """A patch of a tenth of the permeability around it."""
    return MultipliesPermeability(where=Prism(plan=plan, top=0.0, bottom=1.0), factor=0.1)


def checkerboard(cells):
    """One period, shifted so that its sides are lines of symmetry. Mean permeability over K. [-]"""
    edges = np.linspace(0.0, 1.0, cells + 1)
    x = np.concatenate([[-1.0], edges, [2.0]])
    held = [slab_body("west", 0, -9.0, 0.0), slab_body("east", 0, 1.0, 9.0)]
    patches = [tight(box(0.0, 0.0, 0.5, 0.5)), tight(box(0.5, 0.5, 1.0, 1.0))]
    answer = solve_soil(plane_grid(x, edges, 1.0), [layer(K, 0.0, 1.0), *patches], held)
    return shape_factor(answer, "east", {"west": 0.0, "east": -1.0})


def slopes_inside_a_round_patch():
    """Pressure over distance at cells well inside, over the mean slope.

    Held sides 16 radii off repeat the patch by mirror images: a share f of all area is patch,
    which lowers the slope far away from the mean one by f (k1 - k2) / (k1 + k2), 0.25 %.
    """
    half = fine_around([0.0, 16.0], 0.0, 1.15, 0.05, 0.2)
    x = np.append(half, 17.0)
    held = [slab_body("middle", 0, -9.0, 0.0), slab_body("east", 0, 16.0, 99.0)]
    x = np.insert(x, 0, -1.0)
    patch = tight(Point(0.0, 0.0).buffer(1.0, 256))
    answer = solve_soil(plane_grid(x, half, 1.0), [layer(K, 0.0, 1.0), patch], held)
    pressure = answer.cells({"middle": 0.0, "east": 1.0})[:, :, 0]
    at_x, at_y = answer.soil.grid.centres(0), answer.soil.grid.centres(1)
    inside = (np.hypot(at_x[:, None], at_y[None, :]) < 0.7) & (at_x[:, None] > 0.0)
    return 16.0 * pressure[inside] / np.broadcast_to(at_x[:, None], pressure.shape)[inside]


def slopes_inside_a_ball():
    """The same for a ball of a tenth of the permeability; an eighth of it on the grid.

    Images repeat it in all directions: a share f of all space is ball, which lowers the slope
    far away from the mean one by about f, 0.07 %.
    """
    half = fine_around([0.0, 9.0], 0.0, 1.1, 0.04, 0.35)
    x = np.concatenate([[-1.0], half, [10.0]])
    held = [slab_body("middle", 0, -9.0, 0.0), slab_body("east", 0, 9.0, 99.0)]
    ball = MultipliesPermeability(
        where=Prism(plan=box(-99.0, -99.0, 99.0, 99.0), top=0.0, bottom=9.0),
        factor=lambda x, y, z: np.where(x**2 + y**2 + z**2 < 1.0, 0.1, 1.0),
    )
    grid = Grid(x=x, y=half, z=half)
    pressure = solve_soil(grid, [layer(K, 0.0, 9.0), ball], held).cells(
        {"middle": 0.0, "east": 1.0}
    )
    at = np.meshgrid(*(grid.centres(a) for a in range(3)), indexing="ij", sparse=True)
    inside = (np.sqrt(sum(c**2 for c in at)) < 0.7) & (at[0] > 0.0)
    return 9.0 * pressure[inside] / np.broadcast_to(at[0], pressure.shape)[inside]
