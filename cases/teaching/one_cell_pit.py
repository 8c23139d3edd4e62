"""What a one-cell pit really is: a pit whose size is chosen by the grid.

    python cases/teaching/one_cell_pit.py

Hold a single cell at the pit's vacuum and its flow depends on the size of the cell, not on the pit
that was meant: it passes what a hemisphere of 0.47 cell widths would (under a sealed slab). Refine
the grid, and the flow runs away to nothing. A pit with its true surface in the conductances stays
what it is.
"""

import math

import numpy as np
from matplotlib.figure import Figure
from shapely.geometry import box

from soilflow.flow.grid import Grid, graded_edges
from soilflow.flow.response import respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.layout.bodies import Ball, HeldBody, Outside
from soilflow.site.effects import Prism, SetsPermeability

RADIUS, FAR = 0.26, 6.0  # a two-bucket hemisphere, and where the soil is open [m]
SOIL, VISCOSITY = 1e-12, 1.81e-5  # [m2], [Pa s]
_POINT = 0.25e-9  # [m]
SEE = "A pit of one cell is as big as its cell: refine the grid and it withers. A shaped pit stays."


def flow(size, body, axis):
    """Flow under a sealed slab, in units of the exact one of the hemisphere. [-]"""
    down = graded_edges([0.0, size, FAR + 1.0], [(0.0, 2 * RADIUS, size)], 1.3, [(0.0, 99.0, 1.0)])
    everywhere = Prism(plan=box(-99.0, -99.0, 99.0, 99.0), top=0.0, bottom=99.0)
    far = Outside(inner=Ball(centre=(0.0, 0.0, 0.0), radius=FAR))
    soil = build_soil_map(
        Grid(x=axis, y=axis, z=down),
        [SetsPermeability(where=everywhere, horizontal=SOIL, vertical=SOIL)],
        [HeldBody(port="pit", body=body), HeldBody(port="far", body=far)],
    )
    seen = float(respond(build_soil_network(soil, VISCOSITY)).port_matrix[0, 0])
    exact = SOIL / VISCOSITY * 2.0 * math.pi / (1.0 / RADIUS - 1.0 / FAR)
    return seen / exact


def one_cell(size):
    """One cell of the grid held at the vacuum. [-]"""
    half = graded_edges(
        [0.5 * size, FAR + 1.0], [(0.5 * size, 2 * RADIUS, size)], 1.3, [(0.0, 99.0, 1.0)]
    )
    axis = np.concatenate([-half[::-1], half])
    held_value = Ball(centre=(0.0, 0.0, 0.5 * size), radius=_POINT)  # at the cell's centre
    return flow(size, held_value, axis)


def shaped(size):
    """The hemisphere itself, its surface where it is. [-]"""
    half = graded_edges([0.0, FAR + 1.0], [(0.0, 2 * RADIUS, size)], 1.3, [(0.0, 99.0, 1.0)])
    axis = np.concatenate([-half[:0:-1], half])
    return flow(size, Ball(centre=(0.0, 0.0, 0.0), radius=RADIUS), axis)


def draw():
    """Flow over cell size, for both."""
    sizes = np.array([0.40, 0.25, 0.16, 0.10])
    figure = Figure(figsize=(7.5, 4.6), layout="constrained")
    ax = figure.add_subplot()
    ax.plot(sizes, [one_cell(h) for h in sizes], "ks--", label="one cell held at the vacuum")
    fine = sizes[sizes < RADIUS]
    ax.plot(fine, [shaped(h) for h in fine], "ko-", label="hemisphere with its true surface")
    ax.axhline(1.0, color="0.5", linewidth=1.0)
    ax.text(0.39, 1.02, "exact", color="0.35")
    ax.set_xlim(0.42, 0.08)
    ax.set_ylim(0.0, 1.15)
    ax.set_xlabel("cell size at the pit, finer to the right [m]")
    ax.set_ylabel(f"flow over that of a {RADIUS:g} m hemisphere [-]")
    ax.legend(loc="lower left")
    figure.suptitle(SEE, fontsize=10)
    return figure


if __name__ == "__main__":
    draw().savefig("one_cell_pit.png", dpi=110)
