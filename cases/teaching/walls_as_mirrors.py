"""A wall is a mirror: what a pit loses by standing near one, and in a corner.

    python cases/teaching/walls_as_mirrors.py

Air cannot cross a foundation wall, so the pit shares the soil with its own mirror image. With the
image as a point source the pit passes 1 / (1 + r / 2d) of what it would in the open, and in a
corner, with three images, 1 / (1 + r / d + r / (2 sqrt(2) d)): the method of images, found in any
text on potential flow. This is uniform soil; a loose band along the wall can turn it round.
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

RADIUS, FAR = 0.25, 20.0  # [m]
SOIL, VISCOSITY = 1e-12, 1.81e-5  # [m2], [Pa s]
SEE = "Near a wall a pit shares the soil with its mirror image; in a corner with three of them."


def by_images(distance, corner):
    """Flow over that of the same pit in the open. [-]"""
    sides = RADIUS / distance
    return 1.0 / (1.0 + (sides * (1.0 + 0.5 / math.sqrt(2.0)) if corner else 0.5 * sides))


def by_solver(distance, corner):
    """The same from a three-dimensional solve under a sealed slab. [-]"""
    near = (distance - RADIUS, distance + RADIUS, RADIUS / 5.0)
    middle = (0.0, RADIUS, RADIUS / 5.0)
    size = [(0.0, 99.0, 2.5)]
    ends = [0.0, FAR + 2.5]
    away = graded_edges([*ends, distance], [near], 1.3, size)
    along = away if corner else graded_edges(ends, [middle], 1.3, size)
    down = graded_edges(ends, [middle], 1.3, size)
    centre = (distance, distance if corner else 0.0, 0.0)
    everywhere = Prism(plan=box(-99.0, -99.0, 99.0, 99.0), top=0.0, bottom=99.0)
    soil = build_soil_map(
        Grid(x=away, y=along, z=down),
        [SetsPermeability(where=everywhere, horizontal=SOIL, vertical=SOIL)],
        [
            HeldBody(port="pit", body=Ball(centre=centre, radius=RADIUS)),
            HeldBody(port="far", body=Outside(inner=Ball(centre=(0.0, 0.0, 0.0), radius=FAR))),
        ],
    )
    seen = float(respond(build_soil_network(soil, VISCOSITY)).port_matrix[0, 0])
    # beside one wall only half the soil was modelled, the other half is its mirror
    shape = seen * VISCOSITY / SOIL * (1.0 if corner else 2.0)
    angle = 0.5 * math.pi if corner else math.pi
    to_infinity = 1.0 / (1.0 / shape + 1.0 / (angle * FAR))
    return to_infinity / (2.0 * math.pi * RADIUS)


def draw():
    """Flow near a wall and in a corner against distance."""
    figure = Figure(figsize=(7.5, 4.6), layout="constrained")
    ax = figure.add_subplot()
    d = np.linspace(RADIUS, 3.0, 100)
    for corner, name, line, mark in ((False, "one wall", "-", "o"), (True, "a corner", "--", "s")):
        ax.plot(d, [by_images(x, corner) for x in d], "k" + line, label=f"{name}: images")
        places = (0.3, 0.6, 1.2, 2.4)
        solved = [by_solver(x, corner) for x in places]
        ax.plot(places, solved, mark, color="0.45", label=f"{name}: solver")
    ax.set_xlabel(f"distance from wall to the middle of a pit of {RADIUS:g} m radius [m]")
    ax.set_ylabel("flow, open floor = 1 [-]")
    ax.set_ylim(0.0, 1.0)
    ax.legend(loc="lower right")
    figure.suptitle(SEE, fontsize=10)
    return figure


if __name__ == "__main__":
    draw().savefig("walls_as_mirrors.png", dpi=110)
