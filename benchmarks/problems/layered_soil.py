"""A metre cube of three layers, lying flat or stood on edge."""

import numpy as np
from shapely.geometry import box

from problems.soils import layer, slab_body, solve_soil
from soilflow.flow.grid import Grid
from soilflow.site.effects import MultipliesPermeability, Prism

LAYERS = ((0.3, 1e-11), (0.5, 1e-12), (0.2, 5e-12))  # thickness [m], permeability [m2]
ENDS = np.cumsum([0.0, *(d for d, _ in LAYERS)])


def upright(axis):
    """The layers stood on edge, their normal along x or y; depth 0 to 1 m."""
    made = [layer(1e-12, 0.0, 1.0)]
    for (_, k), low, high in zip(LAYERS, ENDS[:-1], ENDS[1:], strict=True):
        plan = box(low, -9.0, high, 9.0) if axis == 0 else box(-9.0, low, 9.0, high)
        where = Prism(plan=plan, top=0.0, bottom=1.0)
        made.append(MultipliesPermeability(where=where, factor=k / 1e-12))
    return made


def flat():
    return [
        layer(k, low, high) for (_, k), low, high in zip(LAYERS, ENDS[:-1], ENDS[1:], strict=True)
    ]


def flow_through(effects, edges, axis):
    """Flow per pascal through a metre cube between held ends along an axis. [m3/s]"""
    edges = [np.array(e) for e in edges]
    edges[axis] = np.concatenate([[edges[axis][0] - 1.0], edges[axis], [edges[axis][-1] + 1.0]])
    grid = Grid(x=edges[0], y=edges[1], z=edges[2])
    held = [slab_body("from", axis, -9.0, 0.0), slab_body("to", axis, 1.0, 9.0)]
    return solve_soil(grid, effects, held).flow("to", {"from": 0.0, "to": -1.0})
