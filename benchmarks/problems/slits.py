"""Air between two parallel plates: a straight slit and a radial gap."""

import functools
import math

import numpy as np
from shapely.geometry import box

from problems.soils import beyond, even_edges, layer, slab_body, solve_soil
from soilflow.flow.grid import Grid, graded_edges
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.site.effects import CarriesAlongSheet
from soilflow.soil import cubic_law_transmissivity

EVERYWHERE = box(-99.0, -99.0, 99.0, 99.0)
NO_AIR = 0.9e-17  # soil below the least permeability that counts, so the gap is alone [m2]


def gap(aperture):
    """A gap of one height; the transmissivity of its cube law is the project's own formula."""

    def transmissivity(x, y):
        return np.full(x.shape, cubic_law_transmissivity(aperture, 0.0))

    return CarriesAlongSheet(plan=EVERYWHERE, transmissivity=transmissivity)


def slit(axis, cells):
    """1 mm by 1 m, 0.1 m long, on an uneven mesh along either axis."""
    edges = [np.array([0.0, 0.3, 1.0])] * 2
    uneven = 0.1 * even_edges(0.0, 1.0, cells) ** 1.3
    edges[axis] = np.concatenate([[-0.2], uneven, [0.25]])
    grid = Grid(x=edges[0], y=edges[1], z=np.array([0.0, 0.1, 0.3]))
    held = [slab_body("from", axis, -9.0, 0.0), slab_body("to", axis, 0.1, 9.0)]
    return solve_soil(grid, [layer(NO_AIR, 0.0, 0.3), gap(1e-3)], held)


@functools.cache
def flow_in_radial_gap(cells):
    """A quarter of the plan, the pit's radius in so many cells; no soil, only the gap."""
    size = 0.15 / cells
    sources = [(0.0, 0.1875, size), (5.0, 5.0, 8.0 * size)]
    x = graded_edges([0.0, 5.0], sources, math.exp(1.04 / cells), [])
    x = beyond(x, x[-1] - x[-2])
    pit = Cylinder(centre=(0.0, 0.0), radius=0.15, top=0.0, bottom=0.2)
    rim = Outside(inner=Cylinder(centre=(0.0, 0.0), radius=5.0, top=0.0, bottom=0.2))
    held = [HeldBody(port="pit", body=pit), HeldBody(port="edge", body=rim)]
    grid = Grid(x=x, y=x, z=np.array([0.0, 0.2]))
    answer = solve_soil(grid, [layer(NO_AIR, 0.0, 0.2), gap(3e-3)], held)
    return 4.0 * answer.flow("pit", {"pit": -10.0, "edge": 0.0})
