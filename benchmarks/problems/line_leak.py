"""A slot in the floor, in contact with soil, in the plane across it."""

import math

import numpy as np

from problems.soils import MU, beyond, growing_edges, layer, slab_body, solve_soil
from soilflow.flow.grid import Grid
from soilflow.site.effects import LeaksAlongLine

K, THICKNESS, HALF = 1e-11, 0.10, 2.0
CELLS = [(0.04, 0.04), (0.02, 0.05), (0.08, 0.02), (0.05, 0.02)]


def axis_edges(size, end, times):
    """Two equal cells at the slot, then growth, then one more to hold the far edge."""
    edges = growing_edges(0.0, 2.0 * size, size, 1.3, end)
    for _ in range(times):
        edges = np.sort(np.concatenate([edges, 0.5 * (edges[1:] + edges[:-1])]))
    return beyond(edges, 0.3)


def flow_per_metre(cell, aperture, *, open_floor, times=0, ends=(HALF, HALF), vertical=None):
    """Flow through one metre of slot at one pascal, in the plane across it."""
    x = axis_edges(cell[0], ends[0], times)
    z = axis_edges(cell[1], ends[1], times)
    held = [slab_body("far", 2, ends[1], 99.0), slab_body("far", 0, ends[0], 99.0)]
    if open_floor:
        x = np.concatenate([-x[:0:-1], x])
        held.append(slab_body("far", 0, -99.0, -ends[0]))
    slot = LeaksAlongLine(
        name="slot",
        start=(0.0, 0.0),
        end=(0.0, 1.0),
        inward=(1, 0),
        aperture=aperture,
        path=THICKNESS,
        reference="house",
    )
    grid = Grid(x=x, y=np.array([0.0, 1.0]), z=z)
    answer = solve_soil(grid, [layer(K, 0.0, 99.0, vertical), slot], held)
    return answer.flow("house", {"house": -1.0, "far": 0.0})


def exact_flow(aperture, *, open_floor, half=HALF, permeability=K):
    radius, angle = (0.25 * aperture, math.pi) if open_floor else (0.5 * aperture, 0.5 * math.pi)
    soil = MU * math.log(2.0 * 0.5393526 * half / radius) / (permeability * angle)
    return 1.0 / (soil + 12.0 * MU * THICKNESS / aperture**3)
