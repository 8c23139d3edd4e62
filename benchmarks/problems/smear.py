"""A hemisphere with soil packed onto its wall."""

import numpy as np

from problems.soils import MU, beyond, growing_edges, layer, solve_soil, split_times
from soilflow.flow.grid import Grid
from soilflow.layout.bodies import Ball, HeldBody, Outside

K = 1e-12
RADIUS = 0.2624
FAR = 10.0


def pit_flow(*, radius=RADIUS, smear=0.0, ratio=1.0, times=0):
    """Flow per pascal of a hemisphere under a sealed slab, a quarter of it on the grid. [m3/s]"""
    edges = growing_edges(0.0, 2.0 * radius, radius / 4.0, 1.4, FAR)
    edges = beyond(edges, edges[-1] - edges[-2])
    grid = split_times(Grid(x=edges, y=edges, z=edges), times)
    pit = Ball(centre=(0.0, 0.0, 0.0), radius=radius)
    held = [
        HeldBody(port="pit", body=pit, smear=smear, smear_ratio=ratio),
        HeldBody(port="far", body=Outside(inner=Ball(centre=(0.0, 0.0, 0.0), radius=FAR))),
    ]
    answer = solve_soil(grid, [layer(K, 0.0, FAR + 9.0)], held)
    return answer.flow("pit", {"pit": -1.0, "far": 0.0}) * 4.0


def exact_flow(radius, smear, ratio):
    """The same with the far hemisphere at FAR, by resistances in series. [m3/s]"""
    outer = radius + smear
    shell = (1.0 / radius - 1.0 / outer) / ratio
    return 2.0 * np.pi * K / MU / (shell + 1.0 / outer - 1.0 / FAR)
