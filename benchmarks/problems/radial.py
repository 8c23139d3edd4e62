"""Flow in plan to a round pit: between circles, in a square, and through two rings of soil."""

import functools
import math

import numpy as np
from shapely.geometry import box

from problems.soils import (
    MU,
    beyond,
    even_edges,
    layer,
    plane_grid,
    slab_body,
    solve_soil,
)
from soilflow.flow.grid import Grid, graded_edges
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.results.coverage import covered_area
from soilflow.results.floor import floor_response
from soilflow.site.effects import LeaksOverArea, MultipliesPermeability, Prism

PIT, EDGE, SIDE = 0.15, 5.0, 10.0
HELD = {"pit": -250.0, "edge": 0.0, "house": 0.0}
# so much air that u is p to rounding: these closed forms know no compression
DEEP = 1e14


def quarter_edges(cells):
    """A quarter of the plan, finest at the pit's rim; all sizes shrink as one over ``cells``."""
    size = PIT / cells
    sources = [(0.0, 1.25 * PIT, size), (EDGE, EDGE, 8.0 * size)]
    edges = graded_edges([0.0, EDGE], sources, math.exp(1.04 / cells), [])
    return beyond(edges, edges[-1] - edges[-2])


def pit(thickness):
    body = Cylinder(centre=(0.0, 0.0), radius=PIT, top=0.0, bottom=thickness)
    return HeldBody(port="pit", body=body)


def far_circle(thickness):
    inner = Cylinder(centre=(0.0, 0.0), radius=EDGE, top=0.0, bottom=thickness)
    return HeldBody(port="edge", body=Outside(inner=inner))


def tight_slab():
    """A floor to look at that lets nothing through."""
    plan = box(-99.0, -99.0, 99.0, 99.0)
    return LeaksOverArea(plan=plan, depth=0.0, leakance=0.0, reference="house", floor=True)


@functools.cache
def between_circles(cells):
    edges = quarter_edges(cells)
    effects = [layer(1e-10, 0.0, 0.10), tight_slab()]
    return solve_soil(plane_grid(edges, edges, 0.10), effects, [pit(0.10), far_circle(0.10)])


def flow_between_circles(cells):
    return 4.0 * between_circles(cells).flow("pit", HELD)


def on_axis(answer, values, distance):
    """Pressure along the first row of cells, interpolated in ln r."""
    row = answer.cells(values)[:, 0, 0]
    r = np.hypot(answer.soil.grid.centres(0), answer.soil.grid.centres(1)[0])
    have = np.isfinite(row)
    return np.interp(math.log(distance), np.log(r[have]), row[have])


def covered_share(cells, threshold):
    """Share of the disk with at least some suction, by the path that a floor's takes."""
    answer = between_circles(cells)
    floor = floor_response(answer.soil, answer.network, answer.response)
    held = np.array([HELD[port] for port in answer.response.ports])
    covered = covered_area(floor.pressure(held, DEEP), threshold)
    return 4.0 * float(covered.sum()) / (math.pi * EDGE**2)


@functools.cache
def flow_in_square(cells):
    edges = quarter_edges(cells)
    held = [
        pit(1.0),
        slab_body("edge", 0, 0.5 * SIDE, 99.0),
        slab_body("edge", 1, 0.5 * SIDE, 99.0),
    ]
    answer = solve_soil(plane_grid(edges, edges, 1.0), [layer(1e-10, 0.0, 1.0)], held)
    return 4.0 * answer.flow("pit", {"pit": -1.0, "edge": 0.0}) * MU / 1e-10


def two_rings_unrolled(splits):
    """Flow [m3/s] and pressure where the soils meet [Pa].

    In s = ln r the ring is a strip 2 pi wide, and the change of soil lies on cell faces.
    Darcy's equation in plan keeps its form under that map, so the same flow comes out of a
    straight strip; with faces on the interface it is exact on any mesh.
    """
    ends = [math.log(r) for r in (PIT, 4.0, EDGE)]
    inner = even_edges(0.0, 1.0, 5) ** 1.5 * (ends[1] - ends[0]) + ends[0]
    edges = np.concatenate([[ends[0] - 1.0], inner, [0.5 * (ends[1] + ends[2]), ends[2]]])
    grid = Grid(x=beyond(edges, 1.0), y=np.array([0.0, 1.0, 2.0 * math.pi]), z=np.array([0.0, 0.5]))
    for _ in range(splits):
        grid = grid.split()
    outer = Prism(plan=box(ends[1], -9.0, 9.0, 9.0), top=0.0, bottom=0.5)
    effects = [layer(1e-12, 0.0, 0.5), MultipliesPermeability(where=outer, factor=20.0)]
    held = [slab_body("pit", 0, -9.0, ends[0]), slab_body("edge", 0, ends[2], 9.0)]
    answer = solve_soil(grid, effects, held)
    i = grid.index_of(0, ends[1])
    last = answer.cells(HELD)[i, 0, 0]
    to_face = grid.centres(0)[i] - ends[1]
    at_4_m = last * math.log(EDGE / 4.0) / (math.log(EDGE / 4.0) - to_face)
    return answer.flow("pit", HELD), at_4_m
